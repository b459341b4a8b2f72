// @ts-check
/**
 * Buttons at rest: seen, focusable, and without effect. What has just come under a finger rests
 * for a moment, so that a second tap meant for what stood there before does nothing.
 */

export const REST_MS = 1500;
const SENT_MS = 5000;
/** @type {WeakMap<Element, number>} */
const until = new WeakMap();

const REACH_PX = 40;
const LONGEST_MS = 15_000;
const MOVED_MS = 500;
const CONTROL = "button, a, summary, label, input, select";
/** @type {{until: number, down: number, but?: Element|null}} */
let held = { until: 0, down: 0 };
let tap = { x: 0, y: 0, at: 0 };
/** Where actions were tapped, and until when nothing else there is pressed. @type {{x: number, y: number, until: number, button: Element}[]} */
let spots = [];

/** Whatever comes to stand where this button was tapped rests until the outcome is shown, and a moment longer. @param {Element|null} button */
export function guardSpot(button) {
  spots = spots.filter((spot) => spot.until > performance.now());
  if (button && performance.now() - tap.at < 100) spots.push({ x: tap.x, y: tap.y, until: performance.now() + LONGEST_MS, button });
}

/** @param {Event} event a tap; keys name what they press and need no guard */
function isOnSpot(event) {
  if (!(event instanceof MouseEvent) || event.type !== "click" || !event.detail || !(event.target instanceof Element)) return false;
  const at = event.target.closest(CONTROL);
  const on = spots.find((one) => performance.now() < one.until && Math.hypot(event.clientX - one.x, event.clientY - one.y) < REACH_PX);
  if (!on || !at || at === on.button) { tap = { x: event.clientX, y: event.clientY, at: performance.now() }; return false; }
  show(at, Math.min(REST_MS, on.until - performance.now()));
  return true;
}

/** The screen has moved: a tap on its way to what stood there is none on what has come there. @param {number} down by how many pixels @param {Element|null} [but] what rests by itself */
export function holdTaps(down, but) {
  held = { until: performance.now() + MOVED_MS, down, but };
}

/** @param {any} event */
function isHeld(event) {
  const left = held.until - performance.now(), now = event.detail && event.target.closest("main") && event.target.closest(CONTROL);
  if (left < 0 || !now || now === held.but) return false;
  const was = document.elementFromPoint(event.clientX, event.clientY + held.down);
  const other = was ? was.closest("main") && was.closest(CONTROL) : document.body;
  if (!other || other === now) return false;
  show(now, left);
  return true;
}

/** What took no tap rests visibly: a choice by its label; a field that is typed in took the focus. @param {Element} control @param {number} ms */
function show(control, ms) {
  if (!control.matches("input:not([type=radio], [type=checkbox]), select")) rest(control.closest("label") ?? control, ms);
}

/** Nothing at rest can be pressed, by whatever way. */
export function watchRest() {
  for (const kind of ["click", "submit"]) {
    document.addEventListener(kind, (event) => {
      const of = event.target instanceof HTMLFormElement ? /** @type {SubmitEvent} */ (event).submitter ?? submitOf(event.target) : event.target;
      const resting = of instanceof Element ? of.closest("[aria-disabled=true]") : null;
      if (!resting && !isHeld(event) && !isOnSpot(event)) return;
      event.preventDefault();
      event.stopImmediatePropagation();
    }, true);
  }
  restAfterLeaving();
  document.addEventListener("submit", (event) => {
    const form = /** @type {HTMLFormElement} */ (event.target), button = submitOf(form);
    if (!event.defaultPrevented && form.method === "post") setTimeout(() => rest(button, SENT_MS));
  });
}

/** The tap that brought this screen may be followed by a second one, which was not meant for what stands here. */
function restAfterLeaving() {
  const left = JSON.parse(sessionStorage.getItem("left") ?? "null");
  sessionStorage.removeItem("left");
  if (left && Math.abs(Date.now() - left.at) < SENT_MS) {
    spots.push({ x: left.x, y: left.y, until: performance.now() + REST_MS, button: document.documentElement });
    for (const one of document.querySelectorAll("button, main a.button")) {
      const box = one.getBoundingClientRect();
      const across = Math.max(box.left - left.x, 0, left.x - box.right), down = Math.max(box.top - left.y, 0, left.y - box.bottom);
      if (box.width && Math.hypot(across, down) < REACH_PX) rest(one, REST_MS);
    }
  }
  addEventListener("pagehide", () => {
    if (performance.now() - tap.at < SENT_MS) sessionStorage.setItem("left", JSON.stringify({ x: tap.x, y: tap.y, at: Date.now() }));
  });
}

/** @param {HTMLFormElement} form */
export function submitOf(form) {
  return /** @type {HTMLButtonElement|null} */ (form.querySelector("button:not([type=button])"));
}

/** Let a button rest; without a time until it is woken. @param {Element|null} button @param {number} [ms] */
export function rest(button, ms = Infinity) {
  if (!button) return;
  button.setAttribute("aria-disabled", "true");
  const end = Math.max(until.get(button) ?? 0, performance.now() + ms);
  until.set(button, end);
  if (ms !== Infinity) setTimeout(() => { if ((until.get(button) ?? 0) <= performance.now() + 5) wake(button); }, ms);
}

/** @param {Element|null} button */
export function wake(button) {
  if (!button) return;
  for (const spot of spots) if (spot.button === button) spot.until = Math.min(spot.until, performance.now() + REST_MS);
  until.delete(button);
  button.removeAttribute("aria-disabled");
  button.removeAttribute("data-sending");
}

/** Where each button stands and how long it rests, to tell later which came or moved. @param {Element} within */
export function places(within) {
  /** @type {Map<string, {place: string, until: number}>} */
  const found = new Map();
  for (const button of within.querySelectorAll("button")) found.set(nameOf(button), { place: placeOf(button), until: until.get(button) ?? 0 });
  return found;
}

/** Let rest what is new or stands elsewhere, and what rested before. @param {Element} within @param {Map<string, {place: string, until: number}>} before */
export function restWhatMoved(within, before) {
  for (const button of within.querySelectorAll("button")) {
    const was = before.get(nameOf(button));
    if (was?.place !== placeOf(button)) rest(button, REST_MS);
    const left = (was?.until ?? 0) - performance.now();
    if (left > 0) rest(button, left);
  }
}

/** @param {Element} button */
export function nameOf(button) {
  return `${button.closest("form")?.getAttribute("action") ?? ""} ${button.getAttribute("aria-label") ?? button.textContent?.trim() ?? ""}`;
}

/** @param {Element} button */
function placeOf(button) {
  const box = button.getBoundingClientRect();
  return box.width ? `${Math.round(box.left)} ${Math.round((box.top + scrollY) / 8)}` : "away";
}
