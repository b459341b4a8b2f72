// @ts-check
/** Starts what a screen needs. The server's first view stands without any of it. */
import { bell } from "./bell.mjs";
import { deeds } from "./deeds.mjs";
import { keypads } from "./keypad.mjs";
import { live } from "./live.mjs";
import { warmth } from "./warm.mjs";

deeds(document);
live();
bell();
keypads();
warmth();
document.addEventListener("pit:swapped", keypads);
const place = document.getElementById("joined");
if (place) {
  import("./chart.mjs").then(({ chart }) => chart(place)).catch((fault) => console.error("chart:", fault));
}
