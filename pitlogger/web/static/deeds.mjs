// @ts-check
/** Sends forms without leaving the screen; what cannot be sent waits and is sent later. */
import { refreshSoon } from "./live.mjs";
import { keep, waitingDeeds, forget } from "./outbox.mjs";

const UNDO_MS = 20_000;
let hiding = 0;
let sending = false;

/** @param {Document} within */
export function deeds(within) {
  within.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || !form.action.includes("/do/")) return;
    event.preventDefault();
    take(form).catch((fault) => tell(String(fault)));
  });
  document.addEventListener("pit:heard", () => { sendAll().catch(() => {}); });
  showWaiting().catch(() => {});
}

/** @param {HTMLFormElement} form */
async function take(form) {
  const button = form.querySelector("button");
  const fields = new URLSearchParams();
  for (const [name, value] of new FormData(form)) fields.set(name, String(value));
  fields.set("key", crypto.getRandomValues(new Uint32Array(3)).join("-"));
  button?.setAttribute("disabled", "");
  setTimeout(() => button?.removeAttribute("disabled"), 1000);
  await keep({ key: fields.get("key") ?? "", url: form.action, body: fields.toString(), at: Date.now(), label: labelOf(form), then: form.dataset.then });
  form.reset();
  for (const open of form.closest("details[open]") ? [form.closest("details[open]")] : []) open?.removeAttribute("open");
  await sendAll();
}

/** @param {HTMLFormElement} form */
function labelOf(form) {
  const button = form.querySelector("button");
  return button?.getAttribute("aria-label") ?? button?.textContent?.trim() ?? "an action";
}

/** Send what waits, in order; stop where the node cannot be reached. One that fails there stays and holds no other back. */
export async function sendAll() {
  if (sending) return;
  sending = true;
  try {
    for (const deed of await waitingDeeds()) if (!(await send(deed))) break;
  } finally {
    sending = false;
    await showWaiting();
  }
}

/** @param {import("./outbox.mjs").Deed} deed @returns {Promise<boolean>} whether the node answered */
async function send(deed) {
  let answer;
  try {
    const late = Math.max(0, (Date.now() - deed.at) / 1000).toFixed(1);
    answer = await fetch(deed.url, {
      method: "POST",
      headers: { "Content-Type": "application/x-www-form-urlencoded", Accept: "application/json" },
      body: `${deed.body}&late_s=${late}`,
      signal: AbortSignal.timeout(10_000),
    });
  } catch {
    return false;
  }
  if (answer.status === 429) return false;
  if (answer.status >= 500) return true;
  if (answer.status === 202) { // kept in memory, not yet on its disk: ours stays until it is
    if (!deed.kept) {
      await keep({ ...deed, kept: true });
      tell(`${deed.label}: kept, not yet on the node's disk. This phone keeps it too.`);
      refreshSoon();
    }
    return true;
  }
  await forget(deed.key);
  if (deed.kept) return true;
  const said = await answer.json().catch(() => ({ error: `The node answered ${answer.status}.` }));
  if (said.error) tell(`${deed.label}: not done. ${said.error}`);
  else if (deed.then) location.assign(`${deed.then}?did=${said.run}.${said.seq}`);
  else tell(said.said, said.undo ? said : undefined);
  refreshSoon();
  return true;
}

/** @param {string} text @param {{run: string, seq: number}} [undo] */
export function tell(text, undo) {
  const place = document.getElementById("told");
  if (!place) return;
  const bar = document.createElement("div");
  bar.className = "told";
  const line = document.createElement("p");
  line.textContent = text;
  bar.append(line);
  if (undo) bar.append(undoForm(undo));
  place.replaceChildren(bar);
  clearTimeout(hiding);
  hiding = setTimeout(() => place.replaceChildren(), UNDO_MS);
}

/** @param {{run: string, seq: number}} of */
function undoForm(of) {
  const form = document.createElement("form");
  form.method = "post";
  form.action = "/do/undo";
  for (const [name, value] of Object.entries({ run: of.run, seq: of.seq })) {
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name, value: String(value) });
    form.append(field);
  }
  const button = document.createElement("button");
  button.textContent = "Undo";
  form.append(button);
  return form;
}

async function showWaiting() {
  const place = document.getElementById("unsent");
  if (!place) return;
  const deeds = await waitingDeeds();
  place.hidden = deeds.length === 0;
  place.textContent = deeds.length ? `Not sent yet: ${deeds.map((deed) => deed.label).join("; ")}` : "";
}
