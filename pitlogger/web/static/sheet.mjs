// @ts-check
/** A spreadsheet that is chosen travels in a field of its form. */

const MOST_BYTES = 3_000_000; // of a body of 4 MiB, a third larger as text

/** Take the files chosen into their forms. */
export function sheets() {
  for (const form of document.querySelectorAll("form[data-sheet]")) {
    const choose = /** @type {HTMLInputElement} */ (form.querySelector("[data-file]"));
    choose.addEventListener("change", () => take(/** @type {HTMLFormElement} */ (form), choose));
  }
}

/** @param {HTMLFormElement} form @param {HTMLInputElement} choose */
async function take(form, choose) {
  const file = choose.files?.[0];
  const said = /** @type {HTMLElement} */ (form.querySelector("[data-said]"));
  set(form, "content", "");
  set(form, "file", file?.name ?? "");
  if (!file) return;
  if (file.size > MOST_BYTES) {
    said.textContent = tr(`${file.name} is larger than 3 MB: cut it into parts.`);
    set(form, "file", "");
    return;
  }
  const bytes = new Uint8Array(await file.arrayBuffer());
  const text = btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
  set(form, "content", text.replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, ""));
  said.textContent = tr(`${file.name}: ${file.size} bytes.`);
}

/** @param {HTMLFormElement} form @param {string} name @param {string} value */
function set(form, name, value) {
  /** @type {HTMLInputElement} */ (form.elements.namedItem(name)).value = value;
}
