// @ts-check
/** Keeps a screen live: figures by Server-Sent Events, everything else asked anew from the server. */

/** @typedef {{channel: string, quality: string, [part: string]: string|boolean|number}} Figure */
/** @typedef {{now: string, iso: string, figures: Figure[], scales: Figure[]}} Beat */

const SILENT_MS = 15_000;
const SETTLE_MS = 150;
const AGAIN_MS = 4000;
let heard = performance.now();
let lastId = "";
/** @type {EventSource|null} */
let source = null;
let waiting = 0;
/** @type {Map<string, string>} what the server last said of each live block */
const said = new Map();

/** Open the stream and keep it open while the screen is looked at. */
export function live() {
  for (const block of liveBlocks(document)) said.set(block.id, block.innerHTML);
  open();
  document.addEventListener("visibilitychange", () => (document.hidden ? close() : open()));
  setInterval(watch, 1000);
  // What is being sent comes to its end without an entry: it is asked for until it has.
  setInterval(() => { if (!document.hidden && document.querySelector("[data-again]")) refreshSoon(); }, AGAIN_MS);
}

function open() {
  if (source) return;
  const after = lastId ? `&after=${encodeURIComponent(lastId)}` : "";
  source = new EventSource(`/api/v1/stream?figures=1${after}`);
  source.addEventListener("figures", (event) => figures(JSON.parse(event.data)));
  for (const kind of ["entry", "alert"]) {
    source.addEventListener(kind, (event) => {
      lastId = event.lastEventId || lastId;
      hear();
      refreshSoon();
      document.dispatchEvent(new CustomEvent(`pit:${kind}`, { detail: JSON.parse(event.data) }));
    });
  }
  // What lies steady decides what is proposed.
  source.addEventListener("steady", () => { if (document.querySelector("[id^=keep-]")) refreshSoon(); });
  source.addEventListener("status", () => { hear(); refreshSoon(); });
}

function close() {
  source?.close();
  source = null;
}

function hear() {
  heard = performance.now();
  document.dispatchEvent(new CustomEvent("pit:heard"));
}

/** Say so when nothing came for too long; try again where the browser gave up. */
function watch() {
  const line = document.getElementById("link");
  const silent = performance.now() - heard;
  if (!line || document.hidden) return;
  const isOld = silent > SILENT_MS;
  document.documentElement.classList.toggle("unheard", isOld);
  line.hidden = !isOld;
  if (isOld) line.textContent = `Nothing heard from the node for ${Math.round(silent / 1000)} s: what stands here is old.`;
  if (source && source.readyState === EventSource.CLOSED) { close(); open(); }
}

/** @param {Beat} beat */
function figures(beat) {
  hear();
  const clock = document.getElementById("now");
  if (clock) { clock.textContent = beat.now; clock.setAttribute("datetime", beat.iso); }
  for (const one of beat.figures) fill(`[data-figure="${CSS.escape(one.channel)}"]`, one);
  for (const one of beat.scales) fill(`[data-scale="${CSS.escape(one.channel)}"]`, one);
  document.dispatchEvent(new CustomEvent("pit:figures", { detail: beat }));
}

/** @param {string} selector @param {Figure} one */
function fill(selector, one) {
  for (const node of document.querySelectorAll(selector)) {
    node.setAttribute("data-quality", one.quality);
    for (const part of node.querySelectorAll("[data-part]")) {
      const text = String(one[part.getAttribute("data-part") ?? ""] ?? "");
      if (part instanceof HTMLProgressElement) part.value = Number(text);
      else if (part.textContent !== text) part.textContent = text;
    }
  }
}

/** Ask the server for this screen again, once for many reasons at a time. */
export function refreshSoon() {
  clearTimeout(waiting);
  waiting = setTimeout(() => refresh().catch(() => {}), SETTLE_MS);
}

/** @returns {Promise<void>} */
export async function refresh() {
  const answer = await fetch(location.pathname + location.search.replace(/[?&]did=[^&]*/, ""), { headers: { Accept: "text/html" } });
  if (answer.status === 401) location.reload();
  if (!answer.ok) return;
  const made = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const block of liveBlocks(made)) swap(block);
}

/** @param {Document} within @returns {NodeListOf<HTMLElement>} */
function liveBlocks(within) {
  return within.querySelectorAll("[data-live][id]");
}

/** Put a block in place unless it is as it was, or somebody is writing in it. @param {HTMLElement} made */
function swap(made) {
  const here = document.getElementById(made.id);
  const html = made.innerHTML;
  if (!here || withoutKeys(said.get(made.id) ?? "") === withoutKeys(html)) return;
  if (here.querySelector("input:focus, select:focus, textarea:focus") || isWrittenIn(here)) return;
  const opened = [...here.querySelectorAll("details[open][id]")].map((one) => one.id);
  const focused = document.activeElement && here.contains(document.activeElement) ? labelOf(document.activeElement) : "";
  here.replaceChildren(...[...made.childNodes].map((node) => document.importNode(node, true)));
  said.set(made.id, html);
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
  if (focused) [...here.querySelectorAll("button, a, summary")].find((one) => labelOf(one) === focused)?.focus?.();
  document.dispatchEvent(new CustomEvent("pit:swapped", { detail: here }));
}

/** Whether somebody typed, ticked or chose something there that was not sent yet. @param {HTMLElement} block */
function isWrittenIn(block) {
  const fields = /** @type {NodeListOf<HTMLInputElement>} */ (block.querySelectorAll("input:not([type=hidden]), textarea"));
  const choices = /** @type {NodeListOf<HTMLSelectElement>} */ (block.querySelectorAll("select"));
  return [...fields].some((field) => field.value !== field.defaultValue || field.checked !== field.defaultChecked)
    || [...choices].some((choice) => choice.selectedIndex !== Math.max(0, [...choice.options].findIndex((one) => one.defaultSelected)));
}

/** @param {string} html */
function withoutKeys(html) {
  return html.replace(/name="key" value="[^"]*"/g, "");
}

/** @param {Element} node */
function labelOf(node) {
  return node.getAttribute("aria-label") ?? node.textContent ?? "";
}
