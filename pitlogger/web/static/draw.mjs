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
  if (!chart.joined.running) return;
  within(u, (c, px, box) => {
    const right = box.left + box.width;
    for (const [value, name] of [[chart.held?.pull_c, "off"], [isWrapped(chart) ? null : chart.held?.wrap_c, "wrap"]]) {
      if (value === null || value === undefined) continue;
      const y = u.valToPos(chart.units.temperature(value), "y", true);
      if (y < box.top || y > box.top + box.height) continue;
      c.strokeStyle = c.fillStyle = chart.ink.ink;
      c.lineWidth = 2 * px;
      c.beginPath();
      c.moveTo(right - 12 * px, y);
      c.lineTo(right + 4 * px, y);
      c.stroke();
      c.font = `600 ${13 * px}px system-ui`;
      c.textBaseline = "middle";
      c.fillText(String(name), right + 7 * px, y);
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
      const x = u.valToPos(one.at_ms / 1000, "x", true), wide = c.measureText(one.flag).width;
      if (x < box.left || x > box.left + box.width) continue;
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
  const values = chart.data[6], times = chart.data[0];
  let last = times.length - 1;
  while (last >= 0 && (values[last] === null || values[last] === undefined)) last--;
  if (last < 0) return;
  within(u, (c, px) => {
    const x0 = u.valToPos(times[last], "x", true), y0 = u.valToPos(values[last], "y", true), y1 = u.valToPos(chart.units.temperature(target), "y", true);
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
    c.textBaseline = "middle";
    const right = box.left + box.width, taken = [];
    for (const [n, line] of chart.drawn.entries()) {
      const values = chart.data[3 * n + 3] ?? [];
      let last = values.length - 1;
      while (last >= 0 && (values[last] === null || values[last] === undefined || chart.data[0][last] > u.scales.x.max)) last--;
      if (last < 0) continue;
      const x = Math.min(u.valToPos(chart.data[0][last], "x", true), right);
      let y = u.valToPos(values[last], "y", true);
      if (n === 1 && nearest(chart)) y += 14 * px; // under the fan, which leads on upwards
      while (taken.some((other) => Math.abs(other - y) < 16 * px)) y += 16 * px;
      taken.push(y);
      const name = line.site === "core" ? (n === 1 ? "core" : "core 2") : line.channel;
      c.fillStyle = chart.ink.lines[n];
      c.fillRect(x + 4 * px, y - 4 * px, 8 * px, 8 * px);
      c.fillStyle = chart.ink.ink;
      c.fillText(name, x + 16 * px, y);
    }
  }, false);
}
