// The grain on the map, and beside it the swath and the receiver's blur at one scale.

import { say } from "../core/say.js";
import { formatNumber, formatQuantity } from "../core/format.js";
import { project, roundLength } from "../core/geometry.js";
import { describeBlur, growGrain, hashOf } from "../core/grain.js";
import { convert, revert, unitOf } from "../core/units.js";
import { keepPainted } from "./canvas.js";
import { element } from "./element.js";

const PITCH_PX = 6;
const WIDTHS = { plain: 1.3, crossed: 1.3, frayed: 0.8 };

/** Keeps the strokes of a job for the scale they were grown at. */
export class Grain {
  #job;
  #strokes = [];
  #pitch_m = null;

  constructor(job) {
    this.#job = job;
  }

  /** Draw the strokes, only those laid until a time where one is given. */
  draw(context, view, ink, until_s = Infinity) {
    const pitch_m = PITCH_PX / view.px_per_m;
    if (this.#pitch_m !== pitch_m) this.#strokes = growGrain(this.#job, pitch_m);
    this.#pitch_m = pitch_m;
    context.strokeStyle = ink.ink;
    context.lineCap = "round";
    for (const kind of Object.keys(WIDTHS)) {
      context.lineWidth = WIDTHS[kind];
      context.beginPath();
      for (const { kind: own, t, line_m: [x0, y0, x1, y1] } of this.#strokes) {
        if (own !== kind || t > until_s) continue;
        context.moveTo(...project(view, x0, y0));
        context.lineTo(...project(view, x1, y1));
      }
      context.stroke();
    }
    context.lineCap = "butt";
  }
}

const TUFTS = [[say("drawn.tuft_nothing"), 0, 0], [say("drawn.tuft_little"), 0.5, 0], [say("drawn.tuft_target"), 1, 0], [say("drawn.doubled"), 2, 0], [say("drawn.tuft_unsure"), 1, 6]];
const TUFT_M = 1;

/** A patch of an even dose, as the map draws it. */
function evenPatch(share, doubt) {
  const cells = 12;
  return { dose: { x0_m: 0, y0_m: 0, cell_m: 0.1 * TUFT_M, nx: cells * 4, ny: cells, l_per_m2: new Float32Array(cells * cells * 4).fill(share),
    sd_tenths: String(doubt).repeat(cells * cells * 4) },
  track: { t_s: [0, 9], east_m: [0, 5], north_m: [0.5, 0.5], spraying: [1, 1] }, target_l_per_m2: 1, swath_m: 1 };
}

function makeTuft([word, share, doubt]) {
  const canvas = element("canvas", { class: "tuft", "aria-hidden": "true" });
  const grain = new Grain(evenPatch(share, doubt));
  keepPainted(canvas, (context, width_px, height_px, ink) => {
    grain.draw(context, { px_per_m: 20, left_px: 0, top_px: height_px }, ink);
    context.strokeStyle = ink.rule;
    context.strokeRect(0.5, 0.5, width_px - 1, height_px - 1);
  });
  return element("li", {}, canvas, word);
}

/** What the grain means, drawn as on the map. */
export function makeGrainLegend() {
  return element("ul", { class: "textures" }, ...TUFTS.map(makeTuft));
}

const ROW_PX = 7;

/** Rows of grass, each as far aside as the receiver may be wrong: three even numbers make about a bell. */
function paintRows(context, middle, half_px, low, sd_px) {
  context.beginPath();
  for (let row = 0; row < low / ROW_PX - 1; row += 1) {
    const aside = (hashOf(row, 0, 5) + hashOf(row, 0, 6) + hashOf(row, 0, 7) - 1.5) * 2 * sd_px;
    for (let column = 0; column < (2 * half_px) / PITCH_PX; column += 1) {
      if (hashOf(column, row, 2) > 0.75) continue;
      const x = middle + aside - half_px + (column + 0.5 * hashOf(column, row, 0) + 0.25) * PITCH_PX;
      const y = (row + 0.3 * hashOf(column, row, 1)) * ROW_PX + 2;
      context.moveTo(x, y);
      context.lineTo(x + 1, y + ROW_PX - 1);
    }
  }
  context.stroke();
}

function paintBlur(context, width_px, height_px, ink, { swath_m, track_sd_m, set }) {
  const sd_m = Number.isFinite(track_sd_m) ? track_sd_m : 0;
  const px_per_m = (width_px - 16) / (swath_m + 6 * Math.max(sd_m, 0.1 * swath_m));
  const half_px = (swath_m * px_per_m) / 2;
  const middle = width_px / 2;
  const low = height_px - 26;
  context.fillStyle = ink.lawn;
  context.fillRect(0, 0, width_px, low);
  context.strokeStyle = ink.ink;
  context.lineWidth = 1;
  paintRows(context, middle, half_px, low, sd_m * px_per_m);
  context.setLineDash([5, 4]);
  context.lineWidth = 2;
  context.beginPath();
  for (const side of [-1, 1]) {
    context.moveTo(middle + side * half_px, 0);
    context.lineTo(middle + side * half_px, low);
  }
  context.stroke();
  context.setLineDash([]);
  const length = roundLength(convert(swath_m, "length", set));
  const length_px = revert(length, "length", set) * px_per_m;
  context.lineWidth = 2;
  context.beginPath();
  context.moveTo(6, low + 6);
  context.lineTo(6, low + 12);
  context.lineTo(6 + length_px, low + 12);
  context.lineTo(6 + length_px, low + 6);
  context.stroke();
  context.fillStyle = ink.ink;
  context.font = `14px ${ink.font}`;
  context.fillText(`${formatNumber(length, 2)} ${unitOf("length", set)}`, 14 + length_px, low + 18);
}

/** The swath with the edges as uncertain as the receiver leaves them, and what that means. */
export function makeBlur({ swath_m, track_sd_m }, set) {
  const canvas = element("canvas", { class: "blur", "aria-hidden": "true" });
  keepPainted(canvas, (context, width_px, height_px, ink) => paintBlur(context, width_px, height_px, ink, { swath_m, track_sd_m, set }));
  return element("div", { class: "blur-part" }, canvas, element("p", { class: "small" },
    say("drawn.blur", { swath: formatQuantity(swath_m, "length", set), sd: formatQuantity(track_sd_m, "length", set, 2), meaning: describeBlur(track_sd_m, swath_m) })));
}
