// @ts-check
/**
 * The joined chart: temperatures above, the stair of weights below, one time axis.
 * Readings come in min/max buckets from the server; what is drawn over them is in draw.mjs.
 */
import { band, fan, flags, ends, alarms } from "./draw.mjs";
import { stair, stairRange, treadAt } from "./stair.mjs";
import { aligned, buckets, facts, BUCKETS } from "./chart-data.mjs";
import { Slide } from "./slide.mjs";
import { gestures } from "./gestures.mjs";
import { Units, figure } from "./units.mjs";

/** @typedef {import("./chart-types.d.ts").Joined} Joined */

const AXIS = 60;
const LEAST_POINTS = 3; // fewer are no picture
const RIGHT = 64;
const WIDE_PX = 700;
const READ_AGAIN = 20; // in a span that is seen, as it goes on
const AHEAD = 0.35; // of the span so far, at most, is kept free for what is foreseen

/** Make the chart in its place on the screen. @param {HTMLElement} place */
export async function chart(place) {
  const made = new JoinedChart(place);
  await made.load();
  return made;
}

class JoinedChart {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.units = new Units(place.dataset.temperature ?? "F", place.dataset.mass ?? "lb");
    this.query = place.dataset.cook ? `cook=${encodeURIComponent(place.dataset.cook)}` : "";
    this.piece = "";
    /** @type {Joined|null} */ this.joined = null;
    this.range = [0, 1];
    this.follows = true;
    this.waiting = 0;
    /** @type {Joined|null} */ this.other = null;
    /** @type {Slide|null} while it is panned */ this.slide = null;
    /** @type {number[][]} what each line read since its last point */ this.fresh = [];
    this.readTo = 0;
  }

  async load() {
    this.joined = await facts(this.query);
    if (!this.joined) return;
    this.piece ||= this.joined.pieces.find((one) => !one.ended && one.stair.length)?.piece ?? this.joined.pieces[0]?.piece ?? "";
    if (this.place.dataset.other) this.other = await facts(`cook=${encodeURIComponent(this.place.dataset.other)}`);
    this.whole();
    this.pickers();
    await this.read();
    this.build();
    gestures(this);
    addEventListener("resize", () => this.resize());
    for (const query of ["(prefers-color-scheme: dark)"]) matchMedia(query).addEventListener("change", () => this.build());
    document.addEventListener("pit:figures", (event) => this.beat(/** @type {CustomEvent} */ (event).detail));
    document.addEventListener("pit:entry", () => this.again());
  }

  /** The piece that is looked at. */
  get held() {
    return this.joined?.pieces.find((one) => one.piece === this.piece);
  }

  /** The lines drawn: the pit, then at most two cores of the piece. */
  get drawn() {
    const lines = this.joined?.lines ?? [];
    const pit = lines.find((one) => one.channel === this.held?.pit) ?? lines.find((one) => one.site === "pit");
    const cores = (this.held?.cores ?? []).slice(0, 2).map((id) => lines.find((one) => one.channel === id));
    return [pit, ...cores].filter((one) => one !== undefined);
  }

  /** Everything there is, and room for what is foreseen. */
  whole() {
    if (!this.joined) return;
    const { from_ms, to_ms, forecasts } = this.joined;
    const ahead = Math.max(0, ...forecasts.filter((one) => one.piece === this.piece).map((one) => (one.p90_ms ?? one.p50_ms ?? to_ms) - to_ms));
    this.range = [from_ms / 1000, (to_ms + Math.min(ahead, (to_ms - from_ms) * AHEAD) + 60_000) / 1000];
    this.follows = true;
  }

  /** Look at the last hours. @param {number} hours */
  last(hours) {
    const to = this.joined?.to_ms ?? Date.now();
    this.look(to / 1000 - hours * 3600, to / 1000 + hours * 360);
    this.follows = true;
  }

  /** Look at a span, seconds. @param {number} from @param {number} to */
  look(from, to) {
    if (!this.joined) return;
    const least = 300, first = this.joined.from_ms / 1000 - 3600, last = this.joined.to_ms / 1000 + 14 * 3600;
    const span = Math.min(Math.max(to - from, least), last - first);
    const start = Math.min(Math.max(from, first), last - span);
    const slide = this.plots && Math.abs(this.range[1] - this.range[0] - span) < 1e-6 * span ? this.slide ?? new Slide(this) : null;
    this.range = [start, start + span];
    this.follows = false;
    this.slide = slide?.reaches(start, span) ? slide : null;
    if (this.slide) this.slide.to(start);
    else {
      this.spread(false);
      for (const plot of this.plots ?? []) plot.setScale("x", { min: start, max: start + span });
    }
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.read().then(() => { this.spread(true); this.show(); }).catch(() => {}), 250);
  }

  /** Draw what lies between lowest and highest of each moment, or leave it out while the chart moves. @param {boolean} isShown */
  spread(isShown) {
    const series = this.plots?.[0]?.series ?? [];
    for (const [at] of this.drawn.entries()) for (const part of [1, 2]) if (series[3 * at + part]) series[3 * at + part].show = isShown;
  }

  /** Ask for the readings of the span looked at, and of half as much on either side. */
  async read() {
    if (!this.joined) return;
    const [start, end] = this.range.map((at) => at * 1000), beside = (end - start) / 2;
    const from = Math.floor(Math.max(start - beside, Math.min(start, this.joined.from_ms))), to = Math.ceil(Math.min(end + beside, this.joined.to_ms));
    const names = this.drawn.map((one) => one.channel), count = this.place.clientWidth > WIDE_PX ? 2 * BUCKETS : BUCKETS;
    if (to <= from || !names.length) return void (this.data = [[from / 1000]]);
    const lines = await buckets(names, from, to, count);
    if (!lines) return;
    const data = aligned(lines, names, from, to, this.units, count);
    if (this.other) {
      const others = this.others, shift = this.joined.from_ms - this.other.from_ms;
      const found = (await buckets(others, from - shift, to - shift, count)) ?? [];
      const laid = aligned(found, others, from - shift, to - shift, this.units, count);
      others.forEach((_, at) => data.push(laid[3 * at + 3]));
    }
    this.data = data;
    this.fresh = this.drawn.map(() => []);
    this.readTo = to / 1000;
    this.reachesNow = end + beside >= this.joined.to_ms;
  }

  /** Pit and lead core of the cook compared with, of a piece of the same name or the first. */
  get others() {
    const held = this.other?.pieces.find((one) => one.piece === this.piece) ?? this.other?.pieces[0];
    const pit = this.other?.lines.find((one) => one.site === "pit");
    return [pit?.channel, held?.cores[0]].filter((one) => one !== undefined);
  }

  build() {
    const above = this.place.querySelector("[data-plot=above]"), below = this.place.querySelector("[data-plot=below]");
    if (!above || !below || !this.data) return;
    const few = (this.data[3] ?? []).filter((value) => typeof value === "number").length < LEAST_POINTS;
    this.place.classList.toggle("bare", few);
    if (few) return void setTimeout(() => this.again().then(() => this.read()).then(() => this.build()).catch(() => {}), 20_000);
    this.slide = null;
    for (const plot of this.plots ?? []) plot.destroy();
    const style = getComputedStyle(this.place);
    const ink = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
    this.ink = { ink: ink("--ink"), soft: ink("--soft"), paper: ink("--paper"), tint: ink("--tint"), hatch: ink("--hatch"), alarm: ink("--alarm"), lines: [ink("--pit"), ink("--core-1"), ink("--core-2")] };
    const width = this.place.clientWidth;
    const wide = width > WIDE_PX;
    // @ts-ignore uPlot is a classic script
    const Plot = globalThis.uPlot;
    const upper = new Plot(this.upper(width, wide ? 330 : 270), this.data, above);
    const lower = new Plot(this.lower(width, wide ? 160 : 190), this.steps(), below);
    this.plots = [upper, lower];
    this.mark();
  }

  resize() {
    const width = this.place.clientWidth;
    this.slide = null;
    for (const plot of this.plots ?? []) if (plot.width !== width) plot.setSize({ width, height: plot.height });
  }

  common(width, height, x) {
    return {
      width, height, padding: [28, RIGHT, 0, 0], legend: { show: false },
      tzDate: (ts) => this.units.tzDate(ts, this.place.dataset.offset),
      cursor: { drag: { x: false, y: false }, sync: { key: "joined" }, points: { show: false }, y: false },
      scales: { x: { time: true, range: () => this.range } },
      axes: [x],
    };
  }

  axis(more) {
    return { stroke: this.ink.ink, font: "600 14px system-ui", grid: { stroke: this.ink.tint, width: 1 }, ticks: { stroke: this.ink.ink, width: 2, size: 6 }, ...more };
  }

  upper(width, height) {
    const options = this.common(width, height, this.axis({ space: 64, size: 8, values: (_, splits) => splits.map(() => "") , gap: 0 }));
    const lines = this.drawn;
    options.scales.y = { range: (_, low, high) => temperatureRange(low, high, lines, this.held, this.units) };
    options.axes.push(this.axis({ size: AXIS, values: (_, splits) => splits.map((value, at) => `${value}${at === splits.length - 1 ? `°${this.units.degree}` : ""}`) }));
    options.series = [{}];
    for (const [at] of lines.entries()) {
      const ink = this.ink.lines[at];
      options.series.push({ show: true, stroke: "transparent", width: 0 }, { show: true, stroke: "transparent", width: 0 });
      options.series.push({ stroke: ink, width: 3, dash: [[], [9, 5], [3, 5]][at], points: { show: false } });
    }
    if (this.other) for (const [at] of this.others.entries()) options.series.push({ stroke: this.ink.soft, width: 2, dash: [[], [9, 5]][at], points: { show: false } });
    options.bands = lines.map((_, at) => ({ series: [3 * at + 2, 3 * at + 1], fill: tinted(this.ink.lines[at]) }));
    options.hooks = {
      drawClear: [(u) => { band(u, this); alarms(u, this); }],
      draw: [(u) => { flags(u, this, true); fan(u, this); ends(u, this); }],
      setCursor: [(u) => this.tell(u)],
    };
    return options;
  }

  lower(width, height) {
    const options = this.common(width, height, this.axis({ space: 64, size: 34, values: (_, splits, __, ___, step) => this.units.times(splits, step, this.place.dataset.offset) }));
    options.padding = [6, RIGHT, 0, 0];
    options.scales.y = { range: () => stairRange(this) };
    options.axes.push(this.axis({ size: AXIS, values: (_, splits) => splits.map((value, at) => `${figure(+value.toFixed(1))}${at === splits.length - 1 ? ` ${this.units.unit}` : ""}`) }));
    options.series = [{}, { stroke: "transparent", points: { show: false } }];
    options.hooks = { draw: [(u) => { flags(u, this, false); stair(u, this); }], setCursor: [(u) => this.tell(u)] };
    return options;
  }

  steps() {
    const stairs = this.held?.stair ?? [];
    const from = (this.joined?.from_ms ?? 0) / 1000, to = (this.joined?.to_ms ?? 1) / 1000;
    return [[from, ...stairs.map((one) => one.at_ms / 1000), to], [null, ...stairs.map((one) => this.units.mass(one.net_g)), null]];
  }

  show() {
    const [upper, lower] = this.plots ?? [];
    this.slide = null;
    upper?.setData(this.data);
    lower?.setData(this.steps());
  }

  /** The journal went on: ask for its facts again. */
  async again() {
    this.joined = (await facts(this.query)) ?? this.joined;
    this.pickers();
    this.show();
  }

  /** New figures: the lines grow at their right end. @param {any} beat */
  beat(beat) {
    if (!this.joined?.running || !this.data || !this.plots) return;
    const at = beat.t_ms / 1000, xs = this.data[0], last = xs[xs.length - 1] ?? 0, span = this.range[1] - this.range[0];
    if (at <= last) return;
    this.joined.to_ms = beat.t_ms;
    if (!this.reachesNow) return; // what lies between was not read
    for (const [n, line] of this.drawn.entries()) {
      const level = beat.figures.find((one) => one.channel === line.channel)?.level_c;
      if (level !== null && level !== undefined) this.fresh[n].push(this.units.temperature(level));
    }
    if (at - last < span / this.plots[0].bbox.width) return; // less than a pixel
    xs.push(at);
    for (const [n, values] of this.fresh.entries()) {
      const parts = values.length ? [Math.min(...values), Math.max(...values), values[values.length - 1]] : [];
      for (const part of [1, 2, 3]) this.data[3 * n + part].push(parts[part - 1]);
    }
    this.fresh = this.drawn.map(() => []);
    if (this.follows && at > this.range[1] - (this.range[1] - this.range[0]) * 0.03) {
      const shift = (this.range[1] - this.range[0]) * 0.1;
      this.range = [this.range[0] + shift, this.range[1] + shift];
    }
    if (this.slide) return; // it is drawn anew where the finger rests
    if (at - this.readTo < span / READ_AGAIN) this.show();
    else this.read().then(() => this.show()).catch(() => {});
  }

  /** What stands at the cursor, in words. @param {any} u */
  tell(u) {
    const line = this.place.querySelector("[data-at]");
    if (!line) return;
    const { left } = u.cursor;
    const say = (/** @type {string|null} */ text) => { if (line.textContent !== text) line.textContent = text; };
    if (left === undefined || left < 0 || !this.plots) { say(line.getAttribute("data-at")); this.lit = -1; return; }
    const at = u.posToVal(left, "x") + (this.slide ? this.range[0] - this.slide.from : 0);
    const parts = [this.units.clock(at, this.place.dataset.offset)];
    const xs = this.data[0];
    let index = xs.findIndex((x) => x >= at);
    if (index < 0) index = xs.length - 1;
    for (const [n, one] of this.drawn.entries()) {
      const value = near(this.data[3 * n + 3], index);
      if (value !== undefined) parts.push(`${one.channel.replace(/\/core$/, "")} ${Math.round(value)} ${this.units.degree}`);
    }
    const tread = treadAt(this, at);
    if (tread.words) parts.push(tread.words);
    if (tread.index !== this.lit && !this.slide) { this.lit = tread.index; this.plots[1].redraw(false); }
    say(parts.join(", "));
  }

  /** One button a piece; the chart shows one piece at a time, so it stays clear. */
  pickers() {
    const row = this.place.querySelector("[data-pieces]");
    if (!row || !this.joined) return;
    row.replaceChildren(...(this.joined.pieces.length < 2 ? [] : this.joined.pieces).map((one) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = one.piece;
      button.setAttribute("aria-pressed", String(one.piece === this.piece));
      button.addEventListener("click", () => { this.piece = one.piece; this.pickers(); this.read().then(() => this.build()).catch(() => {}); });
      return button;
    }));
  }

  /** Colour the swatches of the figures that are drawn. */
  mark() {
    for (const swatch of document.querySelectorAll("[data-swatch]")) {
      const at = this.drawn.findIndex((one) => one.channel === swatch.getAttribute("data-swatch"));
      swatch.setAttribute("data-line", at < 0 ? "" : String(at));
    }
  }
}

/** A value at an index or just before it. @param {(number|null|undefined)[]} values @param {number} index */
function near(values, index) {
  for (let at = index; at >= Math.max(0, index - 5); at--) if (values[at] !== undefined && values[at] !== null) return values[at];
  return undefined;
}

/** @param {string} colour */
function tinted(colour) {
  return colour.length === 7 ? `${colour}2e` : colour;
}

function temperatureRange(low, high, lines, held, units) {
  const marks = [held?.pull_c, lines[0]?.high_c].filter((one) => one !== null && one !== undefined).map((one) => units.temperature(one));
  const top = Math.max(high ?? units.temperature(100), ...marks);
  const bottom = Math.min(low ?? units.temperature(0), top - 20);
  return [bottom - 5, top + (top - bottom) * 0.04];
}
