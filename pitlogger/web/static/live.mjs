// @ts-check
/** Keeps a screen live: figures by Server-Sent Events, everything else requested anew. */
import { places, restWhatMoved } from "./rest.mjs";

/** @typedef {{channel: string, quality: string, [part: string]: string|boolean|number}} Figure */
/** @typedef {{now: string, iso: string, t_ms: number, figures: Figure[], scales: Figure[]}} Beat */

const SETTLE_MS = 150;
const AGAIN_MS = 4000;
const STUCK_MS = 8000;
const SLOW_MS = 30_000;
const FRESH_MS = 4000; // a screen that has just come is drawn to its end before it is requested anew
let lastId = "";
let opened = 0;
/** @type {EventSource|null} */
let source = null;
let waiting = 0;
let isEntered = false, isAsking = false, isDue = false;
/** The node's time at a moment of this page's own steady clock; the phone's date is never used. */
const anchor = { node: Date.parse(document.getElementById("now")?.getAttribute("datetime") ?? "") || Date.now(), here: 0 };
export const heard = { at: performance.now(), wall: Date.now(), clock: document.getElementById("now")?.getAttribute("datetime")?.slice(11, 19) ?? "" };
/** @type {Map<string, string>} what the server last said of each live block */
const said = new Map();

/** The node's time in milliseconds, whatever the phone's clock says. */
export function nodeNow() {
  return Math.round(anchor.node + performance.now() - anchor.here);
}

let isLeaving = false;
addEventListener("click", (event) => { isLeaving ||= event.target instanceof Element && event.target.closest("a[href]:not([download])") !== null; });

/** Open the stream and keep it open while the screen is looked at, or while this phone is to sound. */
export function live() {
  for (const block of liveBlocks(document)) said.set(block.id, block.innerHTML);
  open();
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) { open(); refreshSoon(); } else if (!document.documentElement.hasAttribute("data-armed")) close();
  });
  addEventListener("pageshow", (event) => { if (event.persisted) { close(); open(); refreshSoon(); } });
  setInterval(again, 1000);
  // What is being sent comes to its end without an entry: it is requested until it has.
  setInterval(() => { if (!document.hidden && document.querySelector("[data-again]")) refreshSoon(); }, AGAIN_MS);
  document.addEventListener("pit:retry", () => { close(); open(); refreshSoon(); });
}

/** A browser may give up, or hold a stream that carries nothing: then a new one is opened. */
function again() {
  const isClosed = source?.readyState === EventSource.CLOSED;
  const isStuck = source && performance.now() - Math.max(heard.at, opened) > STUCK_MS;
  if (isClosed || isStuck) { close(); open(); }
}

function open() {
  if (source) return;
  opened = performance.now();
  const after = lastId ? `&after=${encodeURIComponent(lastId)}` : "";
  source = new EventSource(`/api/v1/stream?figures=1${after}`);
  source.addEventListener("figures", (event) => figures(JSON.parse(event.data)));
  for (const kind of ["entry", "alert"]) {
    source.addEventListener(kind, (event) => {
      lastId = event.lastEventId || lastId;
      const detail = JSON.parse(event.data);
      hear();
      if (document.hidden) refresh();
      else refreshSoon(Boolean(detail.by));
      document.dispatchEvent(new CustomEvent(`pit:${kind}`, { detail }));
    });
  }
  // What lies steady decides what is proposed.
  source.addEventListener("steady", () => { if (document.querySelector("[id^=keep-]")) refreshSoon(); });
  source.addEventListener("status", () => { hear(); if (performance.now() < FRESH_MS) setTimeout(() => refreshSoon(), FRESH_MS); else refreshSoon(); });
}

function close() {
  source?.close();
  source = null;
}

function hear() {
  heard.at = performance.now();
  heard.wall = Date.now();
  document.dispatchEvent(new CustomEvent("pit:heard"));
}

/** @param {Beat} beat */
function figures(beat) {
  anchor.node = beat.t_ms;
  anchor.here = performance.now();
  heard.clock = beat.iso.slice(11, 19);
  const clock = document.getElementById("now");
  if (clock) { clock.textContent = beat.now; clock.setAttribute("datetime", beat.iso); }
  for (const one of beat.figures) fill(`[data-figure="${CSS.escape(one.channel)}"]`, one);
  for (const one of beat.scales) fill(`[data-scale="${CSS.escape(one.channel)}"]`, one);
  hear();
  document.dispatchEvent(new CustomEvent("pit:figures", { detail: beat }));
}

/** Where the figures of a channel stand, until a block is put in anew. @type {Map<string, {node: Element, parts: Element[]}[]>} */
const shownAt = new Map();

/** @param {string} selector @param {Figure} one */
function fill(selector, one) {
  let found = shownAt.get(selector);
  if (!found) shownAt.set(selector, found = [...document.querySelectorAll(selector)].map((node) => ({ node, parts: [...node.querySelectorAll("[data-part]")] })));
  for (const { node, parts } of found) {
    if (node.getAttribute("data-quality") !== one.quality) node.setAttribute("data-quality", one.quality);
    for (const part of parts) {
      const text = String(one[part.getAttribute("data-part") ?? ""] ?? "");
      if (part instanceof HTMLProgressElement) part.value = Number(text);
      else if (part instanceof SVGElement) part.setAttribute(part.getAttribute("data-sets") ?? "width", text || "0");
      else if (part.textContent !== text) part.textContent = text;
    }
  }
}

/** Request this screen again, once for many reasons at a time. @param {boolean} [byPerson] somebody entered something */
export function refreshSoon(byPerson = false) {
  isEntered ||= byPerson;
  clearTimeout(waiting);
  waiting = setTimeout(refresh, SETTLE_MS);
}

/** One request at a time: a slow screen holds no tap up, and no older answer comes last. */
async function refresh() {
  isDue = isAsking;
  if (isAsking) return;
  isAsking = true;
  await requested().catch(() => {});
  isAsking = false;
  if (isDue) refreshSoon();
}

/** @returns {Promise<void>} */
async function requested() {
  const main = document.querySelector("main");
  const isLive = main?.dataset.shape !== undefined || main?.querySelector(isEntered ? "[data-live]" : "[data-live='']");
  isEntered = false;
  // A screen that stands still is not made anew for its bars: some search for seconds, or compute.
  const own = isLive ? location.pathname + location.search.replace(/[?&]did=[^&]*/, "") : "/more";
  const answer = await fetch(own, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(SLOW_MS) });
  if (answer.redirected && new URL(answer.url).pathname === "/pair") return location.reload();
  if (!answer.ok) return;
  const made = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!isLive) made.querySelector(`nav a[href="${CSS.escape(location.pathname)}"]`)?.setAttribute("aria-current", "page");
  if (main && isLive && made.querySelector("main")?.dataset.shape !== main.dataset.shape && !isWrittenIn(main) && !isLeaving) return location.reload();
  for (const block of liveBlocks(made)) swap(block);
}

/** @param {Document} within @returns {NodeListOf<HTMLElement>} */
function liveBlocks(within) {
  return within.querySelectorAll("[data-live][id]");
}

/** Put a block in place unless it is as it was, or somebody is at work in it. @param {HTMLElement} made */
function swap(made) {
  const here = document.getElementById(made.id);
  const html = made.innerHTML;
  if (!here || withoutKeys(said.get(made.id) ?? "") === withoutKeys(html)) return;
  if (here.querySelector("input:not([type=radio]):focus, select:focus, textarea:focus, [data-sending], .refused, .asked") || isWrittenIn(here)) return;
  const opened = [...here.querySelectorAll("details[open][id]")].map((one) => one.id);
  const focused = document.activeElement && here.contains(document.activeElement) ? labelOf(document.activeElement) : "";
  const before = places(here);
  here.replaceChildren(...[...made.childNodes].map((node) => document.importNode(node, true)));
  said.set(made.id, html);
  shownAt.clear();
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
  restWhatMoved(here, before);
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
