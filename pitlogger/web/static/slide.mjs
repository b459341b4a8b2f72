// @ts-check
/** While a finger pans, pictures of both plots move; they are drawn anew where it rests, or goes far. */

const FAR = 0.7; // of the width that is seen: beyond, little of the picture is left

export class Slide {
  /** @param {any} chart with its plots just drawn */
  constructor(chart) {
    this.from = chart.range[0];
    this.span = chart.range[1] - chart.range[0];
    this.pictures = chart.plots.map((/** @type {any} */ plot) => {
      const { canvas } = plot.ctx, copy = document.createElement("canvas");
      copy.width = canvas.width;
      copy.height = canvas.height;
      copy.getContext("2d")?.drawImage(canvas, 0, 0);
      return { plot, copy };
    });
  }

  /** Whether a span can be shown by moving the pictures. @param {number} from @param {number} span seconds */
  reaches(from, span) {
    return Math.abs(span - this.span) < 1e-6 * span && Math.abs(from - this.from) < FAR * span;
  }

  /** @param {number} from seconds */
  to(from) {
    for (const { plot, copy } of this.pictures) {
      const c = plot.ctx, { left, width } = plot.bbox, by = Math.round(((this.from - from) / this.span) * width);
      c.save();
      c.beginPath();
      c.rect(left, 0, width, copy.height);
      c.clip();
      c.clearRect(left, 0, width, copy.height);
      c.beginPath();
      c.rect(Math.max(left, left + by), 0, width - Math.abs(by), copy.height);
      c.clip(); // what stands beside the plot is no part of it
      c.drawImage(copy, by, 0);
      c.restore();
    }
  }
}
