// @ts-check
/** A device that is being joined: what it says goes on showing; a new question draws the screen anew. */

const EVERY_MS = 700;

/** Ask for what is said and shown. */
export function joining() {
  const shown = /** @type {HTMLElement} */ (document.querySelector("[data-turn]"));
  const turn = Number(shown.dataset.turn);
  const live = shown.querySelector("[data-live-bytes]"), said = shown.querySelector("[data-said]");
  const timer = setInterval(async () => {
    const answer = await fetch("/join/state", { headers: { accept: "application/json" } }).catch(() => null);
    if (!answer?.ok) return; // the bar on top says that the link is dead
    const now = await answer.json();
    if (now.turn !== turn) {
      clearInterval(timer);
      location.replace("/join");
      return;
    }
    if (live) live.textContent = now.live;
    if (said) said.textContent = now.lines.join("\n");
  }, EVERY_MS);
}
