// @ts-check
/**
 * The piece that is weighed or read: chosen first, by a large key, and chosen until another is.
 * What the keys and the button say follows the choice.
 */
import { rest, submitOf, wake } from "./rest.mjs";

/** @type {Map<string, string>} the piece chosen on each form */
const chosen = new Map();
/** Until the scale has been empty a mass kept by it is not kept again for the same piece. */
let keptFor = "";

export function picking() {
  document.addEventListener("change", (event) => {
    const field = event.target;
    if (!(field instanceof HTMLInputElement) || !field.form?.hasAttribute("data-pick")) return;
    if (field.name === "piece") { chosen.set(field.form.id, field.value); keptFor = ""; }
    follow(field.form);
  });
  document.addEventListener("input", (event) => { const form = /** @type {HTMLInputElement} */ (event.target).form; if (form?.hasAttribute("data-pick")) follow(form); });
  document.addEventListener("pit:swapped", all);
  document.addEventListener("pit:figures", scale);
  document.addEventListener("pit:done", (event) => {
    const { action, said } = /** @type {CustomEvent} */ (event).detail;
    if (action.url.endsWith("/do/weigh") && said.run && !new URLSearchParams(action.body).get("mass")) keptFor = new URLSearchParams(action.body).get("piece") ?? "";
    all();
  });
  all();
}

function all() {
  for (const form of document.querySelectorAll("form[data-pick]")) if (form instanceof HTMLFormElement) follow(form);
}

/** @param {Event} event */
function scale(event) {
  const scales = /** @type {CustomEvent} */ (event).detail.scales;
  if (keptFor && scales.some((/** @type {any} */ one) => one.is_empty)) { keptFor = ""; all(); }
  for (const form of document.querySelectorAll("form[data-pick]")) if (form instanceof HTMLFormElement) follow(form);
}

/** @param {HTMLFormElement} form */
function follow(form) {
  const keys = /** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll("input[name=piece]"));
  const wanted = chosen.get(form.id);
  for (const key of keys) if (wanted !== undefined && key.value === wanted && !key.checked) key.checked = true;
  const key = [...keys].find((one) => one.checked);
  for (const one of keys) one.defaultChecked = one.checked; // a choice is no writing that holds the screen back
  const button = submitOf(form), typed = /** @type {HTMLInputElement|null} */ (form.querySelector("input[data-keypad]"))?.value.trim() ?? "";
  const checkpoint = form.querySelector("[name=checkpoint]");
  if (checkpoint instanceof HTMLSelectElement && key && form.dataset.piece !== key.value) {
    form.dataset.piece = key.value;
    if (key.dataset.checkpoint) checkpoint.value = key.dataset.checkpoint;
    for (const option of checkpoint.options) option.defaultSelected = option.selected;
  }
  if (!button || form.hasAttribute("data-refused") || button.hasAttribute("data-sending")) return;
  const label = button.querySelector("[data-label]") ?? button;
  const isKept = Boolean(keptFor) && !typed && keptFor === key?.value;
  const mass = typed && form.dataset.unit ? ` ${typed}${/[A-Za-z]/.test(typed) ? "" : ` ${form.dataset.unit}`}` : "", name = key?.dataset.name ?? key?.value;
  const text = isKept ? tr("Kept") : key ? tr(`Keep${mass} for ${name}`) : tr("Choose the piece first");
  if (label.textContent !== text) label.textContent = text;
  const hint = document.getElementById("lift");
  if (hint) hint.hidden = !isKept;
  const cannot = !key || isKept || (form.dataset.scale === undefined && !typed) || (form.dataset.scale !== undefined && !typed && document.querySelector(`[data-scale="${CSS.escape(form.dataset.scale)}"] [data-part=state]`)?.textContent !== "steady");
  if (cannot) { button.dataset.idle = ""; rest(button); } else if (button.dataset.idle !== undefined) { delete button.dataset.idle; wake(button); }
}
