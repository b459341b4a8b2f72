// @ts-check
/** What was tapped and is not yet with the node, kept through a reload (IndexedDB). */

/** @typedef {{key: string, url: string, body: string, at: number, label: string, then?: string, kept?: boolean}} Deed */

/** @type {Promise<IDBDatabase>|null} */
let opened = null;

/** @returns {Promise<IDBDatabase>} */
function database() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("pitlogger", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("deeds", { keyPath: "key" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

/**
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => IDBRequest<T>} ask
 * @returns {Promise<T>}
 */
async function within(mode, ask) {
  const store = (await database()).transaction("deeds", mode).objectStore("deeds");
  return new Promise((resolve, reject) => {
    const asked = ask(store);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/** @param {Deed} deed */
export async function keep(deed) {
  await within("readwrite", (store) => store.put(deed));
}

/** @param {string} key */
export async function forget(key) {
  await within("readwrite", (store) => store.delete(key));
}

/** @returns {Promise<Deed[]>} the oldest first */
export async function waitingDeeds() {
  const found = /** @type {Deed[]} */ (await within("readonly", (store) => store.getAll()));
  return found.sort((a, b) => a.at - b.at);
}
