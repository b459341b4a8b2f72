// @ts-check
/**
 * Buttons at rest: seen, focusable, and without effect. What has just come under a finger rests
 * for a moment, so that a second tap meant for what stood there before does nothing.
 */

export const REST_MS = 1500;
/** @type {WeakMap<Element, number>} */
const until = new WeakMap();

/** Nothing at rest can be pressed, by whatever way. */
export function watchRest() {
  for (const kind of ["click", "submit"]) {
    document.addEventListener(kind, (event) => {
      const of = event.target instanceof HTMLFormElement ? /** @type {SubmitEvent} */ (event).submitter ?? submitOf(event.target) : event.target;
      const resting = of instanceof Element ? of.closest("[aria-disabled=true]") : null;
      if (!resting) return;
      event.preventDefault();
      event.stopImmediatePropagation();
    }, true);
  }
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
