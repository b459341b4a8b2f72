// @ts-check
/** What was tapped and is not yet with the node, kept through a reload (IndexedDB). */

/**
 * An action on its way. `at` is the node's time of the tap in milliseconds, `wall` the phone's; `order` counts taps;
 * `refused` is why the node did not do it; `secret` that it holds a PIN; `kept` says that the node has it, not yet on its disk.
 * @typedef {{key: string, url: string, body: string, at: number, wall: number, order: number, label: string, then?: string, refused?: string, kept?: boolean, secret?: boolean}} Action
 */

/** @type {Promise<IDBDatabase>|null} */
let opened = null;

/** @returns {Promise<IDBDatabase>} */
function database() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("pitlogger", 2);
    request.onupgradeneeded = () => {
      if (request.result.objectStoreNames.contains("deeds")) request.result.deleteObjectStore("deeds");
      request.result.createObjectStore("actions", { keyPath: "key" });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
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
  const store = (await database()).transaction("actions", mode).objectStore("actions");
  return new Promise((resolve, reject) => {
    const request = ask(store);
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** Keep an action, unless it holds what must not lie on a phone. @param {Action} action */
export async function keep(action) {
  if (action.secret) return;
  await within("readwrite", (store) => store.put(action));
}

/** @param {string} key */
export async function forget(key) {
  await within("readwrite", (store) => store.delete(key));
}

/** @param {string} key @returns {Promise<boolean>} whether it still waits: another tab may have sent it */
export async function waits(key) {
  return (await within("readonly", (store) => store.get(key))) !== undefined;
}

/** @returns {Promise<Action[]>} in the order they were tapped */
export async function waiting() {
  const found = /** @type {Action[]} */ (await within("readonly", (store) => store.getAll()));
  return found.sort((a, b) => a.order - b.order);
}
