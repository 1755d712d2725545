// The dose of a lawn as coloured ground on the screen, kept from frame to frame.

import { changedSince } from "../core/dose.js";
import { project } from "../core/geometry.js";
import { COLOUR_UNDER_GRAIN, DOUBLED_SHARE, LEAST_SHARE, makeRamp, stepOfShare } from "../core/scale.js";
import { makeHatch } from "./canvas.js";

const ramps = { light: makeRamp("light"), dark: makeRamp("dark") };

/** The picture of a dose, a pixel a cell: colours, and marks where it is far over; only what changed is made anew. */
class Pixels {
  canvas = document.createElement("canvas");
  doubled = document.createElement("canvas");
  #made = "";
  #revision = 0;

  /** Bring it up to date; gives the box of cells that changed, null where all did. */
  update(dose, target_l_per_m2, scheme) {
    const wanted = [dose.nx, dose.ny, dose.x0_m, dose.y0_m, target_l_per_m2, scheme].join();
    const box = wanted === this.#made ? changedSince(dose, this.#revision) : null;
    if (box === null) for (const canvas of [this.canvas, this.doubled]) Object.assign(canvas, { width: dose.nx, height: dose.ny });
    const part = box ?? { west: 0, south: 0, east: dose.nx, north: dose.ny };
    if (part.east > part.west && part.north > part.south) this.#paint(dose, target_l_per_m2, ramps[scheme], part);
    this.#made = wanted;
    this.#revision = dose.revision;
    return box;
  }

  #paint(dose, target_l_per_m2, ramp, { west, south, east, north }) {
    const pen = this.canvas.getContext("2d");
    const colours = pen.createImageData(east - west, north - south);
    const marks = pen.createImageData(east - west, north - south);
    let at = 0;
    for (let row = north - 1; row >= south; row -= 1) {
      for (let column = west; column < east; column += 1, at += 4) {
        const share = dose.l_per_m2[row * dose.nx + column] / target_l_per_m2;
        if (!(share >= LEAST_SHARE)) continue;
        const step = 3 * stepOfShare(share);
        colours.data[at] = ramp[step];
        colours.data[at + 1] = ramp[step + 1];
        colours.data[at + 2] = ramp[step + 2];
        colours.data[at + 3] = 255;
        if (share >= DOUBLED_SHARE) marks.data[at + 3] = 255;
      }
    }
    pen.putImageData(colours, west, dose.ny - north);
    this.doubled.getContext("2d").putImageData(marks, west, dose.ny - north);
  }
}

/** Let only a box of cells be drawn, and the whole pixels of the screen that it touches. */
function clipTo(pen, view, dose, ratio, { west, south, east, north }) {
  const snap = (value_px, round) => round(value_px * ratio) / ratio;
  const [x0, y0] = project(view, dose.x0_m + west * dose.cell_m, dose.y0_m + north * dose.cell_m).map((value) => snap(value - 1, Math.floor));
  const [x1, y1] = project(view, dose.x0_m + east * dose.cell_m, dose.y0_m + south * dose.cell_m).map((value) => snap(value + 1, Math.ceil));
  pen.beginPath();
  pen.rect(x0, y0, x1 - x0, y1 - y0);
  pen.clip();
}

/** Keeps the dose as it lies on the screen, so that a frame costs one copy of it, and a change only its own corner. */
export class DoseImage {
  #pixels = new Pixels();
  #layer = document.createElement("canvas");
  #laid = "";

  /** Draw the dose, and crossed lines where it is far over. */
  draw(context, view, dose, target_l_per_m2, ink, isUnderGrain = false) {
    if (dose.nx === 0 || !(target_l_per_m2 > 0)) return;
    const box = this.#pixels.update(dose, target_l_per_m2, ink.scheme);
    const ratio = context.getTransform().a;
    const { width, height } = context.canvas;
    const wanted = [view.px_per_m, view.left_px, view.top_px, ratio, width, height, isUnderGrain, ink.paper].join();
    const isWhole = box === null || wanted !== this.#laid;
    if (isWhole) Object.assign(this.#layer, { width, height });
    this.#laid = wanted;
    if (isWhole || box.east > box.west) this.#lay(view, dose, ratio, ink, isUnderGrain, isWhole ? null : box);
    context.globalAlpha = isUnderGrain ? COLOUR_UNDER_GRAIN : 1;
    context.drawImage(this.#layer, 0, 0, width / ratio, height / ratio);
    context.globalAlpha = 1;
  }

  #lay(view, dose, ratio, ink, isUnderGrain, box) {
    const pen = this.#layer.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.imageSmoothingEnabled = false;
    pen.save();
    if (box !== null) clipTo(pen, view, dose, ratio, box);
    const [x, y] = project(view, dose.x0_m, dose.y0_m + dose.ny * dose.cell_m);
    const [wide, high] = [dose.nx, dose.ny].map((count) => count * dose.cell_m * view.px_per_m);
    pen.clearRect(0, 0, this.#layer.width, this.#layer.height);
    if (!isUnderGrain) { // there crossed strokes say it
      pen.drawImage(this.#pixels.doubled, x, y, wide, high);
      pen.globalCompositeOperation = "source-in";
      pen.fillStyle = makeHatch(pen, "doubled", ink.paper);
      pen.fillRect(0, 0, this.#layer.width, this.#layer.height);
      pen.globalCompositeOperation = "destination-over";
    }
    pen.drawImage(this.#pixels.canvas, x, y, wide, high);
    pen.restore();
  }
}
