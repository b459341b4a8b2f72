// @ts-check
/** What is drawn over the temperatures: band, targets, alarms, flags, forecast, names of lines. */

/** @typedef {any} Plot */

const FLAG_ROW = 17;

/** @param {Plot} u */
function pixel(u) {
  // @ts-ignore uPlot is a classic script
  return globalThis.uPlot.pxRatio;
}

/** Draw within the plot only. @param {Plot} u @param {(c: CanvasRenderingContext2D, px: number, box: {left: number, top: number, width: number, height: number}) => void} paint @param {boolean} [clip] */
export function within(u, paint, clip = true) {
  const c = u.ctx, box = u.bbox;
  c.save();
  if (clip) { c.beginPath(); c.rect(box.left, box.top, box.width, box.height); c.clip(); }
  c.lineJoin = "miter";
  c.textAlign = "left";
  c.setLineDash([]);
  paint(c, pixel(u), box);
  c.restore();
}

/** Write words where no others are: within the picture, at a height or as near to it as there is room.
 * @param {CanvasRenderingContext2D} c @param {number} px @param {any} box @param {any[]} taken @param {string} text @param {number} x @param {number} y @param {string} [ink] of a swatch before them */
export function write(c, px, box, taken, text, x, y, ink) {
  const lead = ink ? 12 * px : 0, wide = c.measureText(text).width + lead, left = Math.min(x, c.canvas.width - wide - px);
  const top = box.top + 8 * px, bottom = top + box.height - 16 * px, near = Math.max(top, Math.min(y, bottom));
  const isTaken = (/** @type {any} */ one) => left < one.right + 4 * px && one.left < left + wide + 4 * px && Math.abs(one.y - y) < 16 * px;
  y = near;
  for (let step = 2; step < 99 && (y < top || y > bottom || taken.some(isTaken)); step++) y = near + (step % 2 ? 1 - step : step) * px;
  taken.push({ left, right: left + wide, y });
  c.textBaseline = "middle";
  c.fillText(text, left + lead, y);
  if (ink) c.fillStyle = ink;
  if (ink) c.fillRect(left, y - 4 * px, 8 * px, 8 * px);
}

/** Where a line was read last, up to a time. @param {any} chart @param {number} n @param {number} [to] */
function lastOf(chart, n, to = Infinity) {
  return (chart.data[3 * n + 3] ?? []).findLastIndex((/** @type {unknown} */ value, /** @type {number} */ at) => typeof value === "number" && chart.data[0][at] <= to);
}

/** The band of the pit, tinted; the targets of the piece as short ticks at the right edge. @param {Plot} u @param {any} chart */
export function band(u, chart) {
  const pit = chart.drawn[0];
  within(u, (c, px, box) => {
    if (pit?.low_c !== null && pit?.low_c !== undefined && pit.high_c !== null) {
      const top = u.valToPos(chart.units.temperature(pit.high_c), "y", true), bottom = u.valToPos(chart.units.temperature(pit.low_c), "y", true);
      c.fillStyle = chart.ink.tint;
      c.fillRect(box.left, top, box.width, bottom - top);
    }
  });
  chart.taken = [];
  if (!chart.joined.running) return;
  within(u, (c, px, box) => {
    const right = box.left + box.width;
    for (const [value, name] of [[chart.held?.pull_c, tr("off")], [isWrapped(chart) ? null : chart.held?.wrap_c, tr("wrap")]]) {
      if (value === null || value === undefined) continue;
      const y = u.valToPos(chart.units.temperature(value), "y", true);
      if (y < box.top || y > box.top + box.height) continue;
      c.strokeStyle = c.fillStyle = chart.ink.ink;
      c.lineWidth = 2 * px;
      c.beginPath();
      c.moveTo(right - 12 * px, y);
      c.lineTo(right + 4 * px, y);
      c.stroke();
      chart.taken.push({ left: right - 14 * px, right: right + 2 * px, y });
      c.font = `600 ${13 * px}px system-ui`;
      write(c, px, box, chart.taken, String(name), right + 7 * px, y);
    }
  }, false);
}

/** Alarms as hatched red posts at the top edge. @param {Plot} u @param {any} chart */
export function alarms(u, chart) {
  within(u, (c, px, box) => {
    c.fillStyle = chart.ink.alarm;
    for (const one of chart.joined.alarms) {
      if (one.piece && one.piece !== chart.piece) continue;
      const from = u.valToPos(one.from_ms / 1000, "x", true), to = u.valToPos(one.to_ms / 1000, "x", true);
      c.fillRect(from, box.top, Math.max(3 * px, to - from), 6 * px);
    }
  });
}

/** Stages: a hairline through both plots, a flag on top. @param {Plot} u @param {any} chart @param {boolean} named */
export function flags(u, chart, named) {
  const stages = chart.held?.stages ?? [];
  within(u, (c, px, box) => {
    c.strokeStyle = chart.ink.ink;
    c.lineWidth = px;
    for (const one of stages) {
      const x = Math.round(u.valToPos(one.at_ms / 1000, "x", true)) + 0.5;
      if (x < box.left || x > box.left + box.width) continue;
      c.beginPath();
      c.moveTo(x, box.top);
      c.lineTo(x, box.top + box.height);
      c.stroke();
    }
  });
  if (!named) return;
  within(u, (c, px, box) => {
    c.font = `700 ${14 * px}px system-ui`;
    c.textBaseline = "bottom";
    c.fillStyle = chart.ink.ink;
    let free = -Infinity;
    for (const one of [...stages].reverse()) {
      const wide = c.measureText(one.flag).width, at = u.valToPos(one.at_ms / 1000, "x", true), x = Math.min(at, c.canvas.width - wide - px);
      if (at < box.left || at > box.left + box.width) continue;
      if (free !== -Infinity && x + wide + 6 * px > free) continue;
      c.fillText(one.flag, x, box.top - (FLAG_ROW - 14) * px);
      free = x;
    }
  }, false);
}

/** @param {any} chart */
function isWrapped(chart) {
  return chart.held?.stages.some((one) => one.stage === "wrapped") ?? false;
}

/** The next of the piece's targets that is foreseen; resting has no line to lead to. @param {any} chart */
function nearest(chart) {
  const ahead = chart.joined.forecasts.filter((one) => one.piece === chart.piece && one.target !== "rest" && !(one.target === "wrap" && isWrapped(chart)) && one.p50_ms > chart.joined.to_ms);
  return ahead.sort((a, b) => a.p50_ms - b.p50_ms)[0];
}

/** The forecast as a fan from the last reading to when the target is met. @param {Plot} u @param {any} chart */
export function fan(u, chart) {
  const made = nearest(chart);
  const target = { wrap: chart.held?.wrap_c, pull: chart.held?.pull_c }[made?.target ?? ""];
  if (!made || target === null || target === undefined || chart.drawn.length < 2) return;
  const last = lastOf(chart, 1);
  if (last < 0) return;
  within(u, (c, px) => {
    const x0 = u.valToPos(chart.data[0][last], "x", true), y0 = u.valToPos(chart.data[6][last], "y", true), y1 = u.valToPos(chart.units.temperature(target), "y", true);
    const at = (/** @type {number|null} */ ms) => (ms === null ? null : u.valToPos(ms / 1000, "x", true));
    const early = at(made.p10_ms), late = at(made.p90_ms), middle = at(made.p50_ms);
    c.strokeStyle = chart.ink.lines[1];
    if (early !== null && late !== null) {
      c.fillStyle = `${chart.ink.lines[1]}22`;
      c.beginPath();
      c.moveTo(x0, y0);
      c.lineTo(early, y1);
      c.lineTo(late, y1);
      c.closePath();
      c.fill();
      c.lineWidth = 1 * px;
      c.stroke();
    }
    if (middle !== null) {
      c.lineWidth = 2 * px;
      c.setLineDash([2 * px, 4 * px]);
      c.beginPath();
      c.moveTo(x0, y0);
      c.lineTo(middle, y1);
      c.stroke();
    }
  });
}

/** The name of each line at its right end. @param {Plot} u @param {any} chart */
export function ends(u, chart) {
  within(u, (c, px, box) => {
    c.font = `700 ${13 * px}px system-ui`;
    c.fillStyle = chart.ink.ink;
    const right = box.left + box.width;
    for (const [n, line] of chart.drawn.entries()) {
      const last = lastOf(chart, n, u.scales.x.max);
      if (last < 0) continue;
      const x = Math.min(u.valToPos(chart.data[0][last], "x", true), right);
      const down = n === 1 && nearest(chart) ? 14 * px : 0; // under the fan, which leads on upwards
      const name = line.site !== "core" ? line.channel : n === 1 ? tr("core") : tr("core 2");
      c.fillStyle = chart.ink.ink;
      write(c, px, box, chart.taken, name, x + 4 * px, u.valToPos(chart.data[3 * n + 3][last], "y", true) + down, chart.ink.lines[n]);
    }
  }, false);
}
