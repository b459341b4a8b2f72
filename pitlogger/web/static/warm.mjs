// @ts-check
/** Tells which probe is warmed in a hand: the one that climbs most within half a minute. */

const SPAN_MS = 30_000;
const RISE_C = 1.0;
/** @type {Map<string, {at: number, level: number}[]>} */
const seen = new Map();

/** Watch the figures while the channels are listed. */
export function warmth() {
  if (!document.querySelector("[data-warm]")) return;
  document.addEventListener("pit:figures", (event) => {
    const now = performance.now();
    let best = "", most = RISE_C;
    for (const one of /** @type {CustomEvent} */ (event).detail.figures) {
      if (one.level_c === null) continue;
      const levels = (seen.get(one.channel) ?? []).filter((was) => now - was.at < SPAN_MS);
      levels.push({ at: now, level: one.level_c });
      seen.set(one.channel, levels);
      const rise = one.level_c - Math.min(...levels.map((was) => was.level));
      if (rise > most) { most = rise; best = one.channel; }
    }
    for (const mark of document.querySelectorAll("[data-warm]")) mark.toggleAttribute("hidden", mark.getAttribute("data-warm") !== best);
  });
}
