// @ts-check
/** Starts what a screen needs. The server's first view stands without any of it. */
import { watchRest } from "./rest.mjs";
import { actions } from "./actions.mjs";
import { live } from "./live.mjs";
import { watchLink } from "./link.mjs";

const has = (/** @type {string} */ found) => () => document.querySelector(found) !== null;
/** What only some screens have, fetched where they have it. @type {{wanted: () => boolean, start: () => Promise<unknown>, begun?: boolean}[]} */
const parts = [
  { wanted: has("#joined"), start: async () => (await import("./chart.mjs")).chart(/** @type {HTMLElement} */ (document.getElementById("joined"))) },
  { wanted: has("[data-arm]"), start: async () => (await import("./bell.mjs")).bell() },
  { wanted: has("[data-pick]"), start: async () => (await import("./pick.mjs")).picking() },
  { wanted: has("[data-keypad]"), start: async () => (await import("./keypad.mjs")).keypads() },
  { wanted: has("[data-warm]"), start: async () => (await import("./warm.mjs")).warmth() },
  { wanted: has("[data-sun]"), start: async () => (await import("./sun.mjs")).sun() },
];

function startParts() {
  for (const part of parts) {
    if (part.begun || !part.wanted()) continue;
    part.begun = true;
    part.start().catch((fault) => console.error(fault));
  }
}

if (localStorage.getItem("sun") === "yes") document.documentElement.classList.add("sun");
watchRest();
actions();
live();
watchLink();
startParts();
document.addEventListener("pit:swapped", startParts);
