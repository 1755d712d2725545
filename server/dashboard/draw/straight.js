// The straightened lawn on paper: strips side by side as they were walked, as wide as their dose, with the wind as a thread.

import { say } from "../core/say.js";
import { formatNumber, formatQuantity, formatSpeed } from "../core/format.js";
import { roundLength } from "../core/geometry.js";
import { makeRamp, stepOfShare } from "../core/scale.js";
import { describeStrip, foldOf, hitStrip, layRows, placeAlong, straighten } from "../core/straight.js";
import { convert, revert, unitOf } from "../core/units.js";
import { keepPainted, makeHatch, placeOn, readRoom } from "./canvas.js";
import { chooseByKeys } from "./chosen.js";
import { element } from "./element.js";

// Where things stand in a slot, as shares of its width: the gap towards the strip before, the strip, the thread.
const GAP = [0.02, 0.17];
const MIDDLE = 0.43;
const TARGET_HALF = 0.13;
const THREAD = [0.7, 0.97];
const MARKS = { above: "▲", unsure: "?" };
const ramps = { light: makeRamp("light"), dark: makeRamp("dark") };

function stroke(context, points) {
  context.beginPath();
  points.forEach(([x, y], place) => (place === 0 ? context.moveTo(x, y) : context.lineTo(x, y)));
  context.stroke();
}

function paintBins(context, ink, strip, x, y, half_px) {
  const hatch = makeHatch(context, "doubled", ink.paper); // the colour of doubled ground is too deep for ink
  const halfOf = (bin) => Math.max(1, half_px * Math.min(2, bin.share ?? 0));
  context.strokeStyle = ink.ink;
  context.lineWidth = 1.5;
  strip.bins.forEach((bin, place) => {
    if (bin.isBare) return; // dry ground stays paper
    const [half, top, low] = [halfOf(bin), Math.min(y(bin.from_m), y(bin.to_m)), Math.max(y(bin.from_m), y(bin.to_m))];
    const step = 3 * stepOfShare(bin.share ?? 0);
    const ramp = ramps[ink.scheme];
    context.fillStyle = `rgb(${ramp[step]},${ramp[step + 1]},${ramp[step + 2]})`;
    context.fillRect(x - half, top, 2 * half, low - top + 0.5);
    if (bin.isDoubled) {
      context.fillStyle = hatch;
      context.fillRect(x - half, top, 2 * half, low - top + 0.5);
    }
    const before = strip.bins[place - 1];
    const was = before && !before.isBare ? halfOf(before) : 0;
    for (const side of [-1, 1]) stroke(context, [[x + side * was, y(bin.from_m)], [x + side * half, y(bin.from_m)], [x + side * half, y(bin.to_m)]]);
    const next = strip.bins[place + 1];
    if (!next || next.isBare) stroke(context, [[x - half, y(bin.to_m)], [x + half, y(bin.to_m)]]);
  });
  context.strokeStyle = ink.soft;
  context.lineWidth = 1;
  context.setLineDash([1, 3]);
  for (const side of [-1, 1]) stroke(context, [[x + side * half_px, y(0)], [x + side * half_px, y(strip.length_m)]]);
  context.setLineDash([]);
}

function paintThread(context, ink, strip, left_px, width_px, y, scale_mps, limit_mps) {
  const x = (mps) => left_px + width_px * Math.min(1, mps / scale_mps);
  context.strokeStyle = ink.soft;
  context.lineWidth = 1;
  if (limit_mps !== null) {
    context.setLineDash([6, 3]);
    stroke(context, [[x(limit_mps), y(0)], [x(limit_mps), y(strip.length_m)]]);
  }
  context.strokeStyle = ink.ink;
  context.lineWidth = strip.verdict === "above" ? 4 : 2;
  context.setLineDash(strip.verdict === "unsure" ? [3, 3] : []);
  const known = strip.thread.filter(({ mps }) => Number.isFinite(mps));
  if (known.length > 1) stroke(context, known.map(({ at_m, mps }) => [x(mps), y(at_m)]));
  context.setLineDash([]);
}

function paintFold(context, ink, strip, next, x, nextX, y, nextY) {
  const [from, to] = [y(strip.length_m), nextY(0)];
  const fold = foldOf(strip, next);
  const out = fold === "top" ? Math.min(from, to) - 13 : fold === "bottom" ? Math.max(from, to) + 13 : null;
  context.strokeStyle = ink.soft;
  context.lineWidth = 1.5;
  context.setLineDash([2, 3]);
  context.beginPath();
  context.moveTo(x, from);
  if (out === null) context.lineTo(nextX, to);
  else context.bezierCurveTo(x, out, nextX, out, nextX, to);
  context.stroke();
  context.setLineDash([]);
}

function paintBetween(context, ink, pair, sheet, slot_px, box, px_per_m) {
  const a = sheet.strips.find(({ pass }) => pass === pair.pass_a);
  if (!a || !box || pair.verdict === "doubled") return; // what is doubled is crossed on the strips themselves
  const ends = [pair.from_m, pair.to_m].map((at_m) => box.base_px - placeAlong(a, Math.min(at_m, a.length_m)) * px_per_m);
  const [top, low] = [Math.min(...ends), Math.max(...ends)];
  const [left, right] = GAP.map((share) => box.left_px + share * slot_px);
  context.strokeStyle = ink.ink;
  context.lineWidth = 1.5;
  if (pair.verdict === "unsure") {
    context.fillStyle = makeHatch(context, "unsure", ink.soft);
    context.fillRect(left, top, right - left, low - top);
    return;
  }
  context.fillStyle = ink.scheme === "light" ? "#ffffff" : ink.paper;
  context.fillRect(left, top, right - left, low - top);
  stroke(context, [[right, top], [left, top], [left, low], [right, low]]);
}

function paintScale(context, ink, layout, set, height_px) {
  const length = roundLength(convert(Math.max(4, 90 / layout.px_per_m), "length", set));
  const length_px = revert(length, "length", set) * layout.px_per_m;
  context.strokeStyle = ink.ink;
  context.fillStyle = ink.ink;
  context.lineWidth = 2;
  stroke(context, [[6, height_px - 16], [6, height_px - 8], [6 + length_px, height_px - 8], [6 + length_px, height_px - 16]]);
  context.textAlign = "left";
  context.fillText(say("straight.scale", { number: formatNumber(length, 2), unit: unitOf("length", set) }), 14 + length_px, height_px - 7);
}

/** Paint the sheet. */
export function paintStraight(context, width_px, height_px, ink, { sheet, set, chosen = null }) {
  const layout = layRows(sheet, width_px);
  const { slot_px, px_per_m, boxes, row_px } = layout;
  const highest = Math.max(0.5, sheet.limit_mps ?? 0, ...sheet.strips.flatMap(({ thread }) => thread.map(({ mps }) => mps ?? 0)));
  const yOf = (strip, box) => (at_m) => box.base_px - placeAlong(strip, at_m) * px_per_m;
  context.font = `bold 14px ${ink.font}`;
  context.textBaseline = "alphabetic";
  const boxOf = new Map(boxes.map((box) => [box.pass, box]));
  for (const pair of sheet.between) paintBetween(context, ink, pair, sheet, slot_px, boxOf.get(pair.pass_b), px_per_m);
  sheet.strips.forEach((strip, place) => {
    const box = boxes[place];
    const y = yOf(strip, box);
    const x = box.left_px + MIDDLE * slot_px;
    if (strip.pass === chosen) {
      context.strokeStyle = ink.ink;
      context.lineWidth = 3;
      context.strokeRect(box.left_px + 1.5, box.top_px + 1.5, slot_px - 3, row_px - 3);
    }
    const next = sheet.strips[place + 1];
    if (next && boxes[place + 1].top_px === box.top_px) paintFold(context, ink, strip, next, x, boxes[place + 1].left_px + MIDDLE * slot_px, y, yOf(next, boxes[place + 1]));
    paintBins(context, ink, strip, x, y, TARGET_HALF * slot_px);
    paintThread(context, ink, strip, box.left_px + THREAD[0] * slot_px, (THREAD[1] - THREAD[0]) * slot_px, y, highest, sheet.limit_mps);
    context.fillStyle = ink.ink;
    context.textAlign = "center";
    context.fillText(`${strip.pass}${MARKS[strip.verdict] ?? ""}`, x, strip.isUp ? box.base_px + 26 : box.top_px + 16);
  });
  paintScale(context, ink, layout, set, height_px);
}

/** Print the part alone, its words opened. */
function printSheet(words) {
  const wasOpen = words.open;
  words.open = true;
  document.body.dataset.print = "straight";
  addEventListener("afterprint", () => {
    delete document.body.dataset.print;
    words.open = wasOpen;
  }, { once: true });
  print();
}

/** The part of the report; `choice` is the pass that is looked at everywhere. */
export function makeStraight(found, set, choice) {
  const swath_m = found.dose.swath_m ?? found.touchup?.swath_m ?? null;
  if (swath_m === null || found.passes.length === 0 || !Number.isFinite(found.passes[0].start_s)) {
    return [element("p", {}, found.passes.length === 0 ? say("straight.no_pass")
      : say("straight.before"))];
  }
  const sheet = straighten({ ...found, target_l_per_m2: found.dose.target_l_per_m2, swath_m });
  const canvas = element("canvas", { class: "straight", role: "img", "aria-label": say("straight.drawing") });
  const paint = (context, width_px, height_px, ink) => {
    const wanted_px = `${Math.ceil(layRows(sheet, width_px).height_px * readRoom(canvas).growth)}px`;
    if (canvas.style.height !== wanted_px) canvas.style.height = wanted_px; // drawn again at its height
    else paintStraight(context, width_px, height_px, ink, { sheet, set, chosen: choice.pass });
  };
  const painted = keepPainted(canvas, paint);
  choice.addEventListener("change", painted.ask);
  canvas.addEventListener("click", (event) => {
    const pass = hitStrip(layRows(sheet, readRoom(canvas).width_px), ...placeOn(canvas, event));
    if (pass !== null) choice.take(pass);
  });
  chooseByKeys(canvas, choice);
  const words = element("details", { class: "held" }, element("summary", {}, say("straight.words")), element("ol", { class: "findings strip-words" },
    ...sheet.strips.map((strip) => element("li", { value: strip.pass }, describeStrip(strip, sheet.between, set)))));
  const limit = sheet.limit_mps === null ? "" : ` ${say("straight.limit", { limit: formatSpeed(sheet.limit_mps, set) })}`;
  return [canvas,
    element("p", { class: "small" }, say("straight.key", { swath: formatQuantity(swath_m, "length", set), limit })),
    words,
    element("button", { type: "button", onclick: () => printSheet(words) }, say("straight.print"))];
}
