// @ts-check
/** Values in the person's units, times of day on the node's clock. */

const LANGUAGES = languages();
/** The decimal mark of this phone's language, as the server writes it too. */
const MARK = new Intl.NumberFormat(LANGUAGES[0], { numberingSystem: "latn" }).format(1.5)[1];

/** What this phone speaks; none where it names what is no language, as "C" of a bare system. */
function languages() {
  try { return Intl.getCanonicalLocales([...navigator.languages]); } catch { return []; }
}

/** A number with the phone's decimal mark. @param {number|string} value */
export function figure(value) {
  return String(value).replace(".", MARK);
}

export class Units {
  /** @param {string} degree F or C @param {string} masses lb, kg or g */
  constructor(degree, masses) {
    this.degree = degree;
    this.unit = masses;
    this.grams = { lb: 453.59237, oz: 28.349523125, kg: 1000, g: 1 }[masses] ?? 1;
  }

  /** @param {number} celsius */
  temperature(celsius) {
    return this.degree === "F" ? celsius * 1.8 + 32 : celsius;
  }

  /** @param {number} grams */
  mass(grams) {
    return grams / this.grams;
  }

  /** A mass in words. @param {number} grams */
  weight(grams) {
    const value = this.mass(grams);
    return `${figure(value.toFixed(Math.abs(value) < 10 ? 2 : 1))} ${this.unit}`.replace("-", "\u2212");
  }

  /** A date whose local parts are those of the node. @param {number} seconds @param {string} [offset] minutes east of UTC */
  tzDate(seconds, offset) {
    const here = new Date(seconds * 1000);
    return new Date(here.getTime() + (Number(offset ?? 0) + here.getTimezoneOffset()) * 60_000);
  }

  /** @param {number} seconds @param {string} [offset] */
  clock(seconds, offset) {
    const at = this.tzDate(seconds, offset);
    return `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
  }

  /** Labels of a time axis: hours, and the day where it changes. @param {number[]} splits @param {number} step @param {string} [offset] */
  times(splits, step, offset) {
    let day = -1;
    return splits.map((seconds) => {
      const at = this.tzDate(seconds, offset);
      const isNew = day >= 0 && at.getDate() !== day;
      day = at.getDate();
      if (step >= 86_400 || (isNew && at.getHours() + at.getMinutes() === 0)) return at.toLocaleDateString(LANGUAGES, { weekday: "short", day: "numeric" });
      return this.clock(seconds, offset);
    });
  }
}
