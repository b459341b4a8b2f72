// @ts-check
/**
 * The life of a tap: the button rests where it is until the outcome is shown elsewhere, with an
 * undo of equal size. What was typed stays until the node has taken it. What cannot be sent is
 * kept on the phone and sent in order later.
 */
import { nodeNow, refreshSoon } from "./live.mjs";
import { forget, keep, waiting, waits } from "./outbox.mjs";
import { REST_MS, guardSpot, rest, submitOf, wake } from "./rest.mjs";
import { ask, refuse, say, showWaiting, unmark } from "./outcome.mjs";

const PATIENCE_MS = 5000;
const RETRY_MS = 10_000;
let sending = false;
let order = 0;
/** Forms whose action is on its way, by the action's key. @type {Map<string, HTMLFormElement>} */
const forms = new Map();

/** What did not reach the node at once: its outcome may come when nobody looks. @type {Set<string>} */
const unreached = new Set();

/** Forms that a whole screen answers, for which the node was just asked and is there. @type {WeakSet<HTMLFormElement>} */
const reached = new WeakSet();

/** Send a form by itself where the node answers though it is not heard; else what was typed stays. @param {HTMLFormElement} form @param {HTMLElement|null} by */
function onward(form, by) {
  fetch("/healthz", { signal: AbortSignal.timeout(PATIENCE_MS) }).then(() => { reached.add(form); form.requestSubmit(by); })
    .catch(() => refuse(form, tr("The node is not heard: what stands here stays, send it when it is back."), ""));
}

/** Take over all forms that act. */
export function actions() {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement)) return;
    const isAction = form.action.includes("/do/");
    if (!isAction && (reached.delete(form) || !document.documentElement.classList.contains("unheard"))) return;
    event.preventDefault();
    if (!isAction) return void onward(form, event.submitter);
    take(form, {}).catch((fault) => say(String(fault), null));
  });
  for (const kind of ["input", "change"]) document.addEventListener(kind, (event) => changed(/** @type {Element} */ (event.target)));
  document.addEventListener("pit:found", () => { for (const form of document.querySelectorAll("form[data-refused]")) changed(form); });
  document.addEventListener("pit:heard", () => { sendAll().catch(() => {}); });
  setInterval(() => { sendAll().catch(() => {}); }, RETRY_MS);
  document.addEventListener("pit:drop", (event) => { drop(/** @type {CustomEvent} */ (event).detail).catch(() => {}); });
  showWaiting().catch(() => {});
}

/** A refused form can be sent again once something in it changed. @param {Element} field */
function changed(field) {
  const form = field.closest("form");
  if (!form?.hasAttribute("data-refused")) return;
  unmark(form);
  wake(submitOf(form));
}

/** @param {HTMLFormElement} form @param {Record<string, string>} more */
export async function take(form, more) {
  const button = submitOf(form);
  navigator.vibrate?.(30);
  rest(button);
  guardSpot(button);
  button?.setAttribute("data-sending", "");
  unmark(form);
  const fields = new URLSearchParams();
  for (const [name, value] of new FormData(form)) fields.set(name, String(value));
  for (const [name, value] of Object.entries(more)) fields.set(name, value);
  const key = crypto.getRandomValues(new Uint32Array(3)).join("-");
  fields.set("key", key);
  forms.set(key, form);
  const secret = form.querySelector("[type=password]") !== null;
  const action = { key, url: form.action, body: fields.toString(), at: nodeNow(), wall: Date.now(), order: Date.now() * 1000 + order++, label: labelOf(form), then: form.dataset.then, secret };
  const scale = form.querySelector("[data-scale]");
  if (scale && !fields.get("mass") && document.documentElement.classList.contains("unheard")) {
    forms.delete(key);
    refuse(form, tr("The scale is not heard: the node is out of reach. Type the mass, or weigh it once the link is back."), "mass");
    return;
  }
  if (secret) { // a PIN is never left on a phone, and nobody signs an hour later
    if ((await send(action)) && !forms.has(key)) return;
    forms.delete(key);
    refuse(form, tr("The node was not reached: nothing was done. Try again once it is."), "");
    return;
  }
  await keep(action);
  const late = setTimeout(() => keptHere(key), PATIENCE_MS);
  await sendAll();
  if (!forms.has(key)) clearTimeout(late);
  else unreached.add(key);
}

/** No answer yet: say so; the form is free again, what was typed in it is kept in the outbox. @param {string} key */
async function keptHere(key) {
  const form = forms.get(key);
  if (!form || !(await waits(key))) return;
  forms.delete(key);
  done(form);
  await showWaiting();
}

/** @param {HTMLFormElement} form */
function labelOf(form) {
  const button = submitOf(form);
  const typed = [...form.querySelectorAll("input:not([type=hidden], [type=password]), select")].map((field) => /** @type {HTMLInputElement} */ (field).value).filter(Boolean);
  const name = button?.getAttribute("aria-label") ?? button?.textContent?.trim().replace(/\s+/g, " ") ?? "an action";
  return typed.length && typed.length < 5 ? `${name} (${typed.join(", ")})` : name;
}

/** Send what waits, in order; stop where the node cannot be reached. */
export async function sendAll() {
  if (sending) return;
  sending = true;
  try {
    for (const action of await waiting()) {
      if (action.refused) continue;
      if (!(await send(action))) break;
    }
  } finally {
    sending = false;
    await showWaiting();
  }
  if ((await waiting()).some((action) => !action.refused && forms.has(action.key))) document.dispatchEvent(new CustomEvent("pit:unsent"));
}

/** @param {import("./outbox.mjs").Action} action @returns {Promise<boolean>} whether the node answered */
async function send(action) {
  let answer, said;
  try {
    // By the phone's date, which may be set meanwhile, and by the page's count, which stands still in sleep: the node judges.
    const late = ((Date.now() - action.wall) / 1000).toFixed(1);
    answer = await fetch(action.url, {
      method: "POST",
      headers: { "Content-Type": "application/x-www-form-urlencoded", Accept: "application/json" },
      body: `${action.body}&late_s=${late}&tapped_ms=${action.at}`,
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.status === 429) return false;
    if (answer.status >= 500) return true; // it failed there: it stays, and holds no other back
    said = await answer.json().catch(() => ({ error: answer.status === 401 ? tr("This phone is not paired any more.") : tr(`The node answered ${answer.status}.`) }));
  } catch {
    return false;
  }
  const form = forms.get(action.key);
  forms.delete(action.key);
  if (answer.status === 202) return keptInMemory(action, form);
  if (action.kept) { await forget(action.key); return true; }
  if (said.question) return questioned(action, form, said);
  if (said.error) return refused(action, form, said);
  await forget(action.key);
  if (form?.isConnected) done(form);
  if (form && action.then) location.assign(said.run ? `${action.then}?did=${said.run}.${said.seq}` : action.then);
  else say(said.said, said.undo, form);
  document.dispatchEvent(new CustomEvent("pit:done", { detail: { action, said } }));
  refreshSoon(true);
  return true;
}

/** The node has it, and not yet on its disk: ours stays until it is. @param {import("./outbox.mjs").Action} action @param {HTMLFormElement|undefined} form */
async function keptInMemory(action, form) {
  if (!action.kept) {
    await keep({ ...action, kept: true });
    if (form?.isConnected) done(form);
    say(`${action.label}: kept, not yet on the node's disk. This phone keeps it too.`, null, form);
    refreshSoon(true);
  }
  return true;
}

/** @param {import("./outbox.mjs").Action} action @param {HTMLFormElement|undefined} form @param {any} said */
async function questioned(action, form, said) {
  if (!form?.isConnected) return refused(action, form, { error: said.question });
  await forget(action.key);
  wake(submitOf(form));
  rest(submitOf(form), REST_MS);
  const before = new URLSearchParams(action.body).get("confirm");
  ask(form, said, (answer) => take(form, { confirm: before ? `${before}; ${answer}` : answer }));
  return true;
}

/** @param {import("./outbox.mjs").Action} action @param {HTMLFormElement|undefined} form @param {any} said */
async function refused(action, form, said) {
  if (form?.isConnected && unreached.has(action.key)) wake(submitOf(form));
  if (form?.isConnected && !unreached.has(action.key)) {
    await forget(action.key);
    refuse(form, said.error, said.field ?? "");
  } else {
    await keep({ ...action, refused: said.error });
  }
  refreshSoon(true);
  return true;
}

/** The node has it: only now is the form emptied. @param {HTMLFormElement} form */
function done(form) {
  const button = submitOf(form);
  wake(button);
  rest(button, REST_MS);
  form.dataset.done = "";
  if (form.dataset.stays === undefined) form.reset();
  form.closest("details[open]")?.removeAttribute("open");
}

/** @param {string} key */
async function drop(key) {
  await forget(key);
  await showWaiting();
  refreshSoon(true);
}
