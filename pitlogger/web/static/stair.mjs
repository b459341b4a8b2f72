// @ts-check
/**
 * The stair of weights: it steps only at a weighing. A flat tread means that nothing is known
 * between; it is hatched where that is longer than two hours. A riser is what was lost.
 */
import { within, write } from "./draw.mjs";

const UNKNOWN_S = 2 * 3600;

/** The axis may start above zero; then it shows a break. @param {any} chart @returns {[number, number]} */
export function stairRange(chart) {
  const masses = (chart.held?.stair ?? []).map((one) => chart.units.mass(one.net_g));
  if (!masses.length) return [0, 1];
  const top = Math.max(...masses), bottom = Math.min(...masses);
  return [Math.max(0, bottom - (top - bottom || top) * 0.35), top * 1.08];
}

/** @param {any} u @param {any} chart */
export function stair(u, chart) {
  const steps = chart.held?.stair ?? [];
  const { ink } = chart;
  within(u, (c, px, box) => {
    c.font = `700 ${13 * px}px system-ui`;
    if (!steps.length) {
      c.fillStyle = ink.soft;
      c.textBaseline = "middle";
      c.fillText(tr("nothing weighed yet"), box.left + 8 * px, box.top + box.height / 2);
      return;
    }
    const last = Math.min(chart.joined.to_ms / 1000, u.scales.x.max);
    const point = (/** @type {any} */ one) => ({ x: u.valToPos(one.at_ms / 1000, "x", true), y: u.valToPos(chart.units.mass(one.net_g), "y", true) });
    steps.forEach((one, at) => {
      const { x, y } = point(one), next = steps[at + 1];
      const until = next ? point(next) : { x: u.valToPos(Math.max(last, one.at_ms / 1000), "x", true), y };
      const isLong = (next ? next.at_ms / 1000 : last) - one.at_ms / 1000 > UNKNOWN_S;
      if (isLong) hatch(c, px, x, until.x, y, box.top + box.height, ink.hatch);
      c.strokeStyle = ink.ink;
      c.lineWidth = (at === chart.lit ? 6 : 3) * px;
      c.beginPath();
      c.moveTo(x, y);
      c.lineTo(until.x, y);
      if (next) c.lineTo(until.x, until.y);
      c.stroke();
      if (one.corrected) { c.fillStyle = ink.ink; c.fillRect(x - 3 * px, y - 9 * px, 6 * px, 6 * px); }
    });
  });
  within(u, (c, px, box) => labels(u, c, px, box, chart, steps), false);
}

/** What was lost at each riser, and the share of purchase on the right. */
function labels(u, c, px, box, chart, steps) {
  if (!steps.length) return;
  c.font = `700 ${13 * px}px system-ui`;
  c.fillStyle = chart.ink.ink;
  const taken = [];
  let free = -Infinity;
  for (let at = 1; at < steps.length; at++) {
    const change = steps[at].net_g - steps[at - 1].net_g;
    const x = u.valToPos(steps[at].at_ms / 1000, "x", true), text = `${change > 0 ? "+" : "\u2212"}${chart.units.weight(Math.abs(change))}`;
    const wide = c.measureText(text).width, left = x - wide - 5 * px;
    if (left < Math.max(free, box.left) || x > box.left + box.width) continue;
    const y = u.valToPos(chart.units.mass(steps[at].net_g), "y", true);
    c.textBaseline = "top";
    plate(c, chart, left, y + 3 * px, wide, 14 * px);
    c.fillText(text, left, y + 3 * px);
    taken.push({ left, right: left + wide, y: y + 10 * px });
    free = x + 4 * px;
  }
  const bought = steps.find((one) => one.checkpoint === "purchased");
  const end = steps[steps.length - 1];
  if (bought && end !== bought) {
    const y = u.valToPos(chart.units.mass(end.net_g), "y", true);
    const share = ((end.net_g / bought.net_g) * 100).toFixed(0), beside = box.left + box.width + 6 * px;
    for (const [row, words] of [tr(`${share} % of`), tr("bought")].entries()) write(c, px, box, taken, words, beside, y + (16 * row - 8) * px);
  }
  if (u.scales.y.min > 0) brokenAxis(c, px, box, chart);
}

/** A ground under words that cross hatching. */
function plate(c, chart, x, y, wide, high) {
  const fill = c.fillStyle;
  c.fillStyle = chart.ink.paper;
  c.fillRect(x - 2, y - 1, wide + 4, high + 2);
  c.fillStyle = fill;
}

/** The mark of an axis that does not start at zero. */
function brokenAxis(c, px, box, chart) {
  const x = box.left, y = box.top + box.height - 8 * px;
  c.strokeStyle = chart.ink.ink;
  c.lineWidth = 2 * px;
  c.beginPath();
  for (const shift of [0, 5]) { c.moveTo(x - 6 * px, y + (shift + 3) * px); c.lineTo(x + 6 * px, y + (shift - 3) * px); }
  c.stroke();
}

function hatch(c, px, from, to, top, bottom, colour) {
  c.save();
  c.beginPath();
  c.rect(from, top, to - from, bottom - top);
  c.clip();
  c.strokeStyle = colour;
  c.lineWidth = px;
  c.beginPath();
  for (let x = from - (bottom - top); x < to; x += 9 * px) { c.moveTo(x, bottom); c.lineTo(x + (bottom - top), top); }
  c.stroke();
  c.restore();
}

/** The tread that a moment lies on, and what is known of its loss. @param {any} chart @param {number} at seconds */
export function treadAt(chart, at) {
  const steps = chart.held?.stair ?? [];
  const index = steps.findLastIndex((one) => one.at_ms / 1000 <= at);
  if (index < 0) return { index, words: "" };
  const next = steps[index + 1], one = steps[index];
  const words = [`${chart.units.weight(one.net_g)} ${one.label}`];
  if (next && next.at_ms > one.at_ms) {
    const lost = one.net_g - next.net_g, hours = (next.at_ms - one.at_ms) / 3_600_000;
    if (hours > 0.25) words.push(`${lost >= 0 ? "lost" : "gained"} ${chart.units.weight(Math.abs(lost))} until ${next.label}, ${Math.abs(lost / hours).toFixed(0)} g/h`);
  }
  return { index, words: words.join(", ") };
}
