// Two footprints ahead of the foot that stands: where the next one falls now, and where it is wanted.

import { describeFootfall, placeFeet } from "../core/footfall.js";
import { say } from "../core/say.js";
import { keepPainted } from "./canvas.js";
import { element, setText } from "./element.js";

const MARGIN_PX = 8;
const THICK_PX = 13;

/** A print of a shoe, its heel at x, its toes to the right. */
function tracePrint(context, x, y, foot_px) {
  const half = Math.min(foot_px * 0.17, THICK_PX);
  context.beginPath();
  context.moveTo(x + half, y - half * 0.8);
  context.bezierCurveTo(x + foot_px * 0.4, y - half * 0.5, x + foot_px * 0.55, y - half * 1.5, x + foot_px * 0.8, y - half * 1.15);
  context.bezierCurveTo(x + foot_px * 1.06, y - half * 0.9, x + foot_px * 1.06, y + half * 0.9, x + foot_px * 0.8, y + half);
  context.bezierCurveTo(x + foot_px * 0.55, y + half * 1.1, x + foot_px * 0.4, y + half * 0.6, x + half, y + half * 0.8);
  context.bezierCurveTo(x - half * 0.3, y + half * 0.8, x - half * 0.3, y - half * 0.8, x + half, y - half * 0.8);
  context.closePath();
}

function paintFeet(context, width_px, height_px, ink, ratio) {
  const feet = placeFeet(ratio, width_px - 2 * MARGIN_PX);
  const [high, low] = [height_px * 0.26, height_px * 0.74];
  context.lineWidth = 2;
  context.strokeStyle = ink.soft;
  tracePrint(context, MARGIN_PX + feet.behind_px, height_px / 2, feet.foot_px);
  context.stroke();
  context.fillStyle = ink.ink;
  tracePrint(context, MARGIN_PX + feet.now_px, high, feet.foot_px);
  context.fill();
  context.lineWidth = 3;
  context.strokeStyle = ink.ink;
  context.setLineDash([7, 4]);
  tracePrint(context, MARGIN_PX + feet.wanted_px, low, feet.foot_px);
  context.stroke();
  context.setLineDash([]);
  paintGap(context, MARGIN_PX + feet.foot_px, high, low, feet, ink);
  context.font = `14px ${ink.font}`;
  context.fillStyle = ink.ink;
  context.textAlign = "right";
  context.textBaseline = "middle";
  context.fillText(say("step.now"), MARGIN_PX + feet.now_px - 6, high);
  context.fillText(say("step.wanted"), MARGIN_PX + feet.wanted_px - 6, low);
}

/** The gap between the toes of both prints, as a bar between their two marks. */
function paintGap(context, shift_px, high, low, { now_px, wanted_px, isBeyond }, ink) {
  const [from, to] = [now_px, wanted_px].map((x) => x + shift_px);
  const middle = (high + low) / 2;
  context.lineWidth = 2;
  context.strokeStyle = ink.ink;
  context.beginPath();
  if (!isBeyond) {
    context.moveTo(from, high);
    context.lineTo(from, middle + 5);
  }
  context.moveTo(to, middle - 5);
  context.lineTo(to, low);
  context.stroke();
  context.lineWidth = 6;
  context.beginPath();
  context.moveTo(from, middle);
  context.lineTo(to, middle);
  context.stroke();
}

/** The part of the page; `show(isOld)` reads the store, and judges no step by what is old. */
export function makeFootfall(store) {
  const word = element("strong", { class: "footfall-word" });
  const figures = element("span", { class: "footfall-figures" });
  const canvas = element("canvas", { class: "footfall-drawing", "aria-hidden": "true" });
  let ratio = null;
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => {
    if (ratio !== null) paintFeet(context, width_px, height_px, ink, ratio);
  });
  const part = element("section", { class: "footfall", "aria-label": say("step.pace") }, word, figures, canvas);
  const show = (isOld = false) => {
    if (store.snapshot === null) return;
    const told = describeFootfall(store.snapshot, store.units, isOld);
    setText(word, told.word);
    setText(figures, told.figures);
    ratio = told.ratio;
    canvas.hidden = ratio === null;
    painter.ask();
  };
  return { part, show, stop: painter.stop };
}
