// @ts-check
/** Starts what a screen needs. The server's first view stands without any of it. */
import { deeds } from "./deeds.mjs";
import { live } from "./live.mjs";

const has = (/** @type {string} */ found) => () => document.querySelector(found) !== null;
/** What only some screens have, fetched where they have it. @type {{wanted: () => boolean, start: () => Promise<unknown>, begun?: boolean}[]} */
const parts = [
  { wanted: has("#joined"), start: async () => (await import("./chart.mjs")).chart(/** @type {HTMLElement} */ (document.getElementById("joined"))) },
  { wanted: () => has("[data-arm]")() || sessionStorage.getItem("armed") === "yes", start: async () => (await import("./bell.mjs")).bell() },
  { wanted: has("[data-keypad]"), start: async () => (await import("./keypad.mjs")).keypads() },
  { wanted: has("[data-warm]"), start: async () => (await import("./warm.mjs")).warmth() },
];

function startParts() {
  for (const part of parts) {
    if (part.begun || !part.wanted()) continue;
    part.begun = true;
    part.start().catch((fault) => console.error(fault));
  }
}

deeds(document);
live();
startParts();
document.addEventListener("pit:swapped", startParts);
