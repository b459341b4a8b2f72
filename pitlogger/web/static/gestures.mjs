// @ts-check
/** Pan by one finger or the mouse, zoom by two fingers or Ctrl and the wheel; buttons do the same. */

/** @param {any} chart */
export function gestures(chart) {
  for (const name of ["above", "below"]) {
    const place = chart.place.querySelector(`[data-plot=${name}]`);
    if (place instanceof HTMLElement) pointers(chart, place);
  }
  chart.place.addEventListener("click", (/** @type {MouseEvent} */ event) => {
    const button = event.target instanceof Element ? event.target.closest("[data-look]") : null;
    if (button) look(chart, button.getAttribute("data-look") ?? "");
  });
}

/** @param {any} chart @param {string} what */
function look(chart, what) {
  const [from, to] = chart.range, span = to - from;
  if (what === "all") { chart.whole(); chart.read().then(() => chart.build()).catch(() => {}); }
  else if (what === "in") chart.look(from + span / 4, to - span / 4);
  else if (what === "out") chart.look(from - span / 2, to + span / 2);
  else if (what === "earlier") chart.look(from - span / 2, to - span / 2);
  else if (what === "later") chart.look(from + span / 2, to + span / 2);
  else chart.last(Number(what));
}

/** @param {any} chart @param {HTMLElement} place */
function pointers(chart, place) {
  /** @type {Map<number, number>} pointer and where it is, as seconds it held when it came down */
  const held = new Map();
  let frame = 0;
  const plot = () => chart.plots?.[0];
  const seconds = (/** @type {PointerEvent} */ event, range = chart.range) => {
    const box = plot().over.getBoundingClientRect();
    return range[0] + ((event.clientX - box.left) / box.width) * (range[1] - range[0]);
  };
  /** @type {Map<number, PointerEvent>} */
  const latest = new Map();

  place.addEventListener("pointerdown", (event) => {
    if (!plot() || held.size > 1) return;
    held.set(event.pointerId, seconds(event));
    latest.set(event.pointerId, event);
    if (event.pointerType === "mouse") place.setPointerCapture(event.pointerId);
  });
  place.addEventListener("pointermove", (event) => {
    if (!held.has(event.pointerId)) return;
    latest.set(event.pointerId, event);
    frame ||= requestAnimationFrame(move);
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
    place.addEventListener(end, (event) => {
      const id = /** @type {PointerEvent} */ (event).pointerId;
      held.delete(id);
      latest.delete(id);
      for (const [other, at] of latest) held.set(other, seconds(at));
    });
  }
  place.addEventListener("wheel", (event) => {
    if (!event.ctrlKey || !plot()) return;
    event.preventDefault();
    const at = seconds(/** @type {any} */ (event)), by = event.deltaY > 0 ? 1.25 : 0.8, [from, to] = chart.range;
    chart.look(at - (at - from) * by, at + (to - at) * by);
  }, { passive: false });
  place.addEventListener("dblclick", () => look(chart, "all"));

  function move() {
    frame = 0;
    const box = plot().over.getBoundingClientRect();
    const points = [...held].map(([id, at]) => ({ at, share: ((latest.get(id)?.clientX ?? 0) - box.left) / box.width }));
    const span = chart.range[1] - chart.range[0];
    if (points.length === 1) {
      const from = points[0].at - points[0].share * span;
      if (Math.abs(from - chart.range[0]) > span / 200) chart.look(from, from + span);
    } else if (points.length === 2 && Math.abs(points[1].share - points[0].share) > 0.02) {
      const wide = Math.abs((points[1].at - points[0].at) / (points[1].share - points[0].share));
      const from = points[0].at - points[0].share * wide;
      chart.look(from, from + wide);
    }
  }
}
