// @ts-check
/** A dead link is seen: a bar on every screen, the title, the icon, struck figures, counting ages. */
import { heard } from "./live.mjs";

const SILENT_MS = 3500;
const LOOK_MS = 500;
const title = document.title;
const icon = /** @type {HTMLLinkElement|null} */ (document.querySelector("link[rel=icon]"));
const freshIcon = icon?.href ?? "";
let isDead = false;
/** @type {WeakMap<Element, {was: string, now: string}>} what an age said before the link went dead, and says now */
const ages = new WeakMap();

/** Watch the link for as long as the page lives. */
export function watchLink() {
  setInterval(look, LOOK_MS);
  document.addEventListener("pit:heard", look);
  document.addEventListener("visibilitychange", look);
  document.querySelector("#link button")?.addEventListener("click", () => document.dispatchEvent(new CustomEvent("pit:retry")));
}

function look() {
  const silent = Math.max(performance.now() - heard.at, Date.now() - heard.wall); // the first stands still while a phone sleeps
  if (silent > SILENT_MS) lost(silent);
  else if (isDead) found();
}

/** @param {number} silent milliseconds */
function lost(silent) {
  const bar = document.getElementById("link");
  if (!bar) return;
  if (!isDead) {
    isDead = true;
    document.documentElement.classList.add("unheard");
    document.title = tr(`OLD · ${title}`);
    if (icon?.dataset.old) icon.href = icon.dataset.old;
    bar.hidden = false;
    document.dispatchEvent(new CustomEvent("pit:lost"));
  }
  text(bar, "[data-for]", minutes(silent));
  text(bar, "[data-last]", heard.clock);
  for (const age of document.querySelectorAll("[data-part=age]")) {
    const before = ages.get(age)?.was ?? age.textContent ?? "", since = minutes(silent);
    age.textContent = before.match(/min|h\b/) ? tr(`${since} old, ${before} before`) : tr(`${since} old`);
    ages.set(age, { was: before, now: age.textContent });
  }
}

function found() {
  isDead = false;
  document.documentElement.classList.remove("unheard");
  document.title = title;
  if (icon) icon.href = freshIcon;
  const bar = document.getElementById("link");
  if (bar) bar.hidden = true;
  for (const age of document.querySelectorAll("[data-part=age]")) {
    const said = ages.get(age);
    if (said && age.textContent === said.now) age.textContent = said.was;
    ages.delete(age);
  }
  document.dispatchEvent(new CustomEvent("pit:found"));
}

/** @param {Element} within @param {string} at @param {string} value */
function text(within, at, value) {
  const place = within.querySelector(at);
  if (place && place.textContent !== value) place.textContent = value;
}

/** @param {number} ms */
function minutes(ms) {
  const seconds = Math.round(ms / 1000);
  if (seconds < 60) return `${seconds} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
  return `${Math.floor(seconds / 3600)} h ${Math.floor((seconds % 3600) / 60)} min`;
}
