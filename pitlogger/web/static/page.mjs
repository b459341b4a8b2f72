// @ts-check
/** Starts what a screen needs. The server's first view stands without any of it. */
import { watchRest } from "./rest.mjs";
import { actions } from "./actions.mjs";
import { live } from "./live.mjs";
import { watchLink } from "./link.mjs";

const SETTLED_MS = 8000; // by then a slow phone has drawn its chart

const has = (/** @type {string} */ found) => () => document.querySelector(found) !== null;
/** What only some screens have, fetched where they have it. @type {{wanted: () => boolean, start: () => Promise<unknown>, begun?: boolean}[]} */
const parts = [
  { wanted: has("#joined"), start: async () => (await import("./chart.mjs")).chart(/** @type {HTMLElement} */ (document.getElementById("joined"))) },
  { wanted: () => has("[data-armed-words]")() || sessionStorage.getItem("armed") === "yes", start: () => bell() },
  { wanted: has("[data-pick]"), start: async () => (await import("./pick.mjs")).picking() },
  { wanted: has("[data-keypad]"), start: async () => (await import("./keypad.mjs")).keypads() },
  { wanted: has("[data-sheet]"), start: async () => (await import("./sheet.mjs")).sheets() },
  { wanted: has("[data-warm]"), start: async () => (await import("./warm.mjs")).warmth() },
  { wanted: has("[data-sorts]"), start: async () => (await import("./tables.mjs")).tables() },
  { wanted: has("[data-turn]"), start: async () => (await import("./join.mjs")).joining() },
  { wanted: has("[data-at-fault]"), start: async () => (await import("./at-fault.mjs")).atFault() },
  { wanted: has("[data-sun]"), start: async () => (await import("./sun.mjs")).sun() },
];

/** Sound is fetched where this phone is armed, or by the tap that arms it. @param {boolean} [tapped] */
async function bell(tapped = false) {
  await (await import("./bell.mjs")).bell(tapped);
}

document.addEventListener("click", (event) => {
  const part = parts[1];
  if (part.begun || !(event.target instanceof Element) || !event.target.closest("[data-arm]")) return;
  part.begun = true;
  bell(true).catch((fault) => console.error(fault));
});

function startParts() {
  for (const part of parts) {
    if (part.begun || !part.wanted()) continue;
    part.begun = true;
    part.start().catch((fault) => console.error(fault));
  }
}

/** The sheet stands in the first screen itself; the next ones name it, once it lies in the browser's cache. */
function keepSheet() {
  if (!document.querySelector("head > style")) return;
  const sheet = new URL("page.css", import.meta.url), version = sheet.pathname.split("/")[2];
  setTimeout(() => fetch(sheet).then((answer) => { if (answer.ok) document.cookie = `sheet=${version}; path=/; samesite=strict; max-age=31536000`; }).catch(() => {}), SETTLED_MS);
}

if (localStorage.getItem("sun") === "yes") import("./sun.mjs").then((made) => made.shine(true)).catch(() => {});
watchRest();
actions();
live();
watchLink();
if (matchMedia("(min-width: 60rem)").matches) for (const one of document.querySelectorAll("[data-beside]")) one.setAttribute("open", "");
startParts();
keepSheet();
document.addEventListener("pit:swapped", startParts);
