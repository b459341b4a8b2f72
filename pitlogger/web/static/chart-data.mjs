// @ts-check
/** Readings and facts for the chart, asked of the server and laid on common times. */

/** @typedef {import("./chart-types.d.ts").Joined} Joined */

export const BUCKETS = 600;
const STALE_MS = 15_000;

/** What a journal says of a cook. @param {string} query @returns {Promise<Joined|null>} */
export async function facts(query) {
  const answer = await fetch(`/api/v1/joined?${query}`);
  return answer.ok ? answer.json() : null;
}

/** Readings in buckets. @param {string[]} names @param {number} from @param {number} to @param {number} [count] */
export async function buckets(names, from, to, count = BUCKETS) {
  const channels = names.map((name) => `channel=${encodeURIComponent(name)}`).join("&");
  const answer = await fetch(`/api/v1/chart?from_ms=${Math.round(from)}&to_ms=${Math.round(to)}&buckets=${count}&${channels}`);
  return answer.ok ? answer.json() : null;
}

/**
 * Lay lines on common times. A want of readings is a gap (null) from the limit on at which a channel is silent.
 * @returns {any[]} times, then low, high and mean of each channel
 */
export function aligned(lines, channels, from, to, units, most = BUCKETS) {
  const width = Math.ceil((to - from) / most), count = Math.ceil((to - from) / width);
  const times = Array.from({ length: count }, (_, at) => (from + (at + 0.5) * width) / 1000);
  const data = [times];
  for (const channel of channels) {
    const line = lines.find((one) => one.channel === channel) ?? { at_ms: [], low: [], high: [], mean: [] };
    const slots = line.at_ms.map((at) => Math.round((at - from) / width));
    const steps = slots.slice(1).map((slot, at) => slot - slots[at]).sort((a, b) => a - b);
    const usual = steps[Math.floor(steps.length / 2)] ?? 1;
    const longest = usual > 1 ? 3 * usual : 1 + Math.ceil(STALE_MS / width);
    for (const part of ["low", "high", "mean"]) {
      const values = new Array(count).fill(undefined);
      slots.forEach((slot, at) => {
        values[slot] = units.temperature(line[part][at] / 1000);
        if (at && slot - slots[at - 1] > longest) values.fill(null, slots[at - 1] + 1, slot);
      });
      data.push(values);
    }
  }
  return data;
}
