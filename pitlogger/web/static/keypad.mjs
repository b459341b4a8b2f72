// @ts-check
/** A keypad with large keys for masses and temperatures; digits typed on a keyboard go the same way. */

/** The decimal mark of this phone's language; a point where it names none, as "C" of a bare system. */
let MARK = ".";
try { MARK = new Intl.NumberFormat(`${navigator.languages[0] ?? "en"}-u-nu-latn`).format(1.5)[1]; } catch { /* a point */ }

/** Units that can be put behind a number. @type {Record<string, string[]>} */
const UNITS = { lb: ["lb", "oz"], kg: ["kg", "g"], g: ["g", "kg"], F: [], C: [] };

/** Give each marked field its keypad, those that come later too. */
export function keypads() {
  furnish();
  document.addEventListener("pit:swapped", furnish);
  document.addEventListener("toggle", (event) => { // keys that come up are all in view, none under a bar
    const opened = /** @type {HTMLDetailsElement} */ (event.target);
    if (opened.open) opened.querySelector(".keys")?.scrollIntoView({ block: "nearest" });
  }, true);
  document.addEventListener("keydown", (event) => {
    const field = document.querySelector("input[data-keypad][data-open]");
    if (!(field instanceof HTMLInputElement) || event.ctrlKey || event.metaKey || event.altKey) return;
    if (document.activeElement?.matches("input, select, textarea") || !/^[\d.,]$/.test(event.key)) return;
    field.focus();
  });
}

function furnish() {
  for (const field of document.querySelectorAll("input[data-keypad]")) if (field instanceof HTMLInputElement && !document.getElementById(`pad-${field.name}`)) pad(field);
}

/** @param {HTMLInputElement} field */
function pad(field) {
  const isOpen = field.dataset.open !== undefined;
  const box = document.createElement(isOpen ? "div" : "details");
  box.className = "pad";
  box.id = `pad-${field.name}`;
  const keys = document.createElement("div");
  keys.className = "keys";
  keys.setAttribute("role", "group");
  const label = (field.closest("label")?.firstChild?.textContent ?? "").trim();
  keys.setAttribute("aria-label", tr(`Keys for ${label}`));
  for (const key of [..."123456789", MARK, "0", "⌫", ...(UNITS[field.dataset.keypad ?? ""] ?? [])]) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = key;
    if (key === "⌫") button.setAttribute("aria-label", tr("Take the last away"));
    button.addEventListener("click", () => press(field, key));
    keys.append(button);
  }
  if (!isOpen) {
    const head = document.createElement("summary");
    head.textContent = tr("Large keys");
    box.append(head);
  }
  box.append(keys);
  (field.closest(".entry-row") ?? field.closest("label"))?.after(box);
}

/** @param {HTMLInputElement} field @param {string} key */
function press(field, key) {
  const text = field.value;
  if (key === "⌫") field.value = text.replace(/(\s*[A-Za-z]+\s*|.)$/, "");
  else if (/[A-Za-z]/.test(key)) field.value = `${text.replace(/\s*[A-Za-z]+\s*$/, "").trimEnd()} ${key} `;
  else field.value = text + key;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}
