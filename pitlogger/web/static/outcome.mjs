// @ts-check
/** Says what became of a tap: done with an undo, refused beside its field, asked, or waiting. */
import { waiting } from "./outbox.mjs";
import { REST_MS, holdTaps, rest, submitOf, wake } from "./rest.mjs";

const UNDO_MS = 10_000;
const LONG = 70; // letters that do not fit beside an undo
const HIGH_PX = 240; // a button that stands there may have the outcome under its finger
let hiding = 0;

/**
 * @param {string} text
 * @param {{action: string, fields: Record<string, string>}|null} undo
 * @param {HTMLFormElement} [form] whose button it came from
 */
export function say(text, undo, form) {
  const place = document.getElementById("told");
  if (!place) return;
  const bar = element("div", "told");
  bar.append(element("p", text.length > LONG ? "long" : "", text));
  const pressed = form && submitOf(form), box = pressed?.getBoundingClientRect();
  if (box && box.top < HIGH_PX && box.left + box.width / 2 > innerWidth / 2) bar.classList.add("other"); // away from the finger
  const back = undo && undoForm(undo), button = back && submitOf(back);
  if (back) bar.append(back);
  bar.append(element("div", "time"));
  put(place, [bar], pressed);
  rest(button, REST_MS);
  if (form && (document.activeElement === document.body || form.contains(document.activeElement))) button?.focus({ preventScroll: true });
  clearTimeout(hiding);
  hiding = setTimeout(() => put(place, []), UNDO_MS + (undo ? REST_MS : 0));
}

/** Show the outcome, or nothing. What it moves takes no tap meant for what stood there. @param {HTMLElement} place @param {Element[]} bar @param {Element|null} [pressed] */
function put(place, bar, pressed) {
  const main = document.querySelector("main"), before = main?.getBoundingClientRect().top ?? 0;
  place.replaceChildren(...bar);
  const down = (main?.getBoundingClientRect().top ?? 0) - before;
  if (down) holdTaps(down, pressed);
}

/** @param {{action: string, fields: Record<string, string>}} undo */
function undoForm(undo) {
  const form = /** @type {HTMLFormElement} */ (element("form"));
  form.method = "post";
  form.action = `/do/${undo.action}`;
  for (const [name, value] of Object.entries(undo.fields)) {
    const field = /** @type {HTMLInputElement} */ (element("input"));
    Object.assign(field, { type: "hidden", name, value });
    form.append(field);
  }
  form.append(element("button", "main", tr("Undo")));
  return form;
}

/** Mark the field at fault, say why once, and let the button rest until something changes. @param {HTMLFormElement} form @param {string} text @param {string} name */
export function refuse(form, text, name) {
  wake(submitOf(form));
  const field = name ? /** @type {HTMLElement|null} */ (form.querySelector(`:is([name="${CSS.escape(name)}"], [name^="${CSS.escape(name)}."]):not([type=hidden])`)) : null;
  const typed = form.querySelector("input:not([type=hidden]), select, textarea");
  const line = element("p", "refused", tr(`Not done. ${text}`));
  line.id = `refused-${form.id || Math.random().toString(36).slice(2)}`;
  line.setAttribute("role", "alert");
  line.tabIndex = -1;
  for (let open = field?.closest("details:not([open])"); open; open = open.parentElement?.closest("details:not([open])")) open.setAttribute("open", "");
  if (field) {
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", line.id);
    (field.closest("label") ?? field).after(line);
    field.focus();
    field.scrollIntoView({ block: "center" });
  } else if (typed) {
    form.append(line);
    line.scrollIntoView({ block: "nearest" });
    line.focus();
  } else {
    return say(line.textContent ?? "", null);
  }
  form.dataset.refused = "";
  rest(submitOf(form));
}

/** Take the marks of a refusal or a question away. @param {HTMLFormElement} form */
export function unmark(form) {
  delete form.dataset.refused;
  for (const line of form.querySelectorAll(".refused, .asked")) line.remove();
  for (const field of form.querySelectorAll("[aria-invalid]")) { field.removeAttribute("aria-invalid"); field.removeAttribute("aria-describedby"); }
}

/** Ask before it is done; each answer is a button of its own. @param {HTMLFormElement} form @param {{question: string, options: string[]}} said @param {(answer: string) => void} answered */
export function ask(form, said, answered) {
  const box = element("div", "asked");
  box.setAttribute("role", "group");
  const line = element("p", "", said.question);
  line.tabIndex = -1;
  box.append(line);
  for (const option of [...said.options, ""]) {
    const button = /** @type {HTMLButtonElement} */ (element("button", "", option ? option[0].toUpperCase() + option.slice(1) : tr("Leave it")));
    button.type = "button";
    rest(button, REST_MS);
    button.addEventListener("click", () => { box.remove(); if (option) answered(option); });
    box.append(button);
  }
  form.append(box);
  line.focus({ preventScroll: true });
  box.scrollIntoView({ block: "center" });
}

/** What waits on this phone, each to be dropped; what was refused later, each with its reason. */
export async function showWaiting() {
  const place = document.getElementById("unsent");
  if (!place) return;
  const all = await waiting();
  const key = JSON.stringify(all.map((one) => [one.key, one.refused]));
  place.hidden = all.length === 0;
  if (place.dataset.key === key) return;
  place.dataset.key = key;
  const list = element("ol");
  for (const one of all) {
    const line = element("li", "", one.refused ? tr(`${one.label}: not done. ${one.refused}`) : one.label);
    const button = /** @type {HTMLButtonElement} */ (element("button", "", one.refused ? tr("Seen") : tr("Undo")));
    button.type = "button";
    button.setAttribute("aria-label", `${button.textContent}: ${one.label}`);
    button.addEventListener("click", () => document.dispatchEvent(new CustomEvent("pit:drop", { detail: one.key })));
    line.append(button);
    list.append(line);
  }
  const open = all.filter((one) => !one.refused).length;
  place.replaceChildren(element("p", "", open ? tr(`Not sent yet, kept on this phone: ${open}`) : tr("Not done")), list);
}

/** @param {string} tag @param {string} [name] @param {string} [text] */
function element(tag, name = "", text = "") {
  const made = document.createElement(tag);
  if (name) made.className = name;
  if (text) made.textContent = text;
  return made;
}
