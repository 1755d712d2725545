// The wind of the last half hour as a rope as thick as its gusts, the limit above it, the coming strips as notches.

import { formatNumber, formatSpeed } from "../core/format.js";
import { ticksWithin } from "../core/geometry.js";
import { PAST_MIN, cutRope, fitStrips, planStrips } from "../core/rope.js";
import { say } from "../core/say.js";
import { convert, revert, unitOf } from "../core/units.js";

const LEFT_PX = 34;
const RIGHT_PX = 8;
const TOP_PX = 26;
const BOTTOM_PX = 62;
const NOTCH_PX = 18;
const CLOSEST_PX = 4;
const LAY_PX = 7; // between the strands of the rope

function makeScale(outlook, width_px, height_px) {
  const gusts = (outlook.recent?.gust_3s_mps ?? []).concat(outlook.recent?.mean_mps ?? []);
  const top_mps = 1.12 * Math.max(0.5, outlook.limit_mps ?? 0, ...gusts.map((each) => each ?? 0));
  const span_min = PAST_MIN + outlook.need.minutes;
  return {
    top_mps, base_px: height_px - BOTTOM_PX, right_px: width_px - RIGHT_PX,
    x: (min) => LEFT_PX + ((min + PAST_MIN) / span_min) * (width_px - LEFT_PX - RIGHT_PX),
    y: (mps) => height_px - BOTTOM_PX - (mps / top_mps) * (height_px - TOP_PX - BOTTOM_PX),
  };
}

function trace(context, points) {
  context.beginPath();
  points.forEach(([x, y], place) => (place === 0 ? context.moveTo(x, y) : context.lineTo(x, y)));
}

function stroke(context, points) {
  trace(context, points);
  context.stroke();
}

function paintFrame(context, scale, ink, outlook, set) {
  context.font = `13px ${ink.font}`;
  context.fillStyle = ink.ink;
  context.strokeStyle = ink.rule;
  context.lineWidth = 1;
  context.textAlign = "right";
  context.textBaseline = "middle";
  for (const tick of ticksWithin(0, convert(scale.top_mps, "speed", set), 4)) {
    const y = scale.y(revert(tick, "speed", set));
    stroke(context, [[LEFT_PX, y], [scale.right_px, y]]);
    context.fillText(tick === 0 ? "0" : formatNumber(tick, 2).replace(/\.0$/, ""), LEFT_PX - 5, y);
  }
  context.textBaseline = "alphabetic";
  context.textAlign = "left";
  context.fillText(unitOf("speed", set), 2, 14);
  const words = scale.base_px + 56;
  context.fillText(say("rope.ago", { minutes: PAST_MIN }), LEFT_PX, words);
  context.textAlign = "right";
  context.fillText(say("rope.ahead", { minutes: outlook.need.minutes }), scale.right_px, words);
  context.textAlign = "center";
  context.font = `bold 13px ${ink.font}`;
  context.fillText(say("rope.now"), scale.x(0), words);
  context.strokeStyle = ink.ink;
  stroke(context, [[scale.x(0), TOP_PX - 4], [scale.x(0), scale.base_px + 40]]);
}

/** Strands across the rope, so that its thickness is seen as one body and not as two lines. */
function layStrands(context, edges, ink) {
  context.save();
  trace(context, edges);
  context.clip();
  const xs = edges.map(([x]) => x);
  const ys = edges.map(([, y]) => y);
  const [low, high, top, base] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  context.strokeStyle = ink.ink;
  context.globalAlpha = 0.45;
  context.lineWidth = 1.2;
  for (let x = low - (base - top); x < high; x += LAY_PX) stroke(context, [[x, base], [x + (base - top), top]]);
  context.restore();
}

function paintRope(context, scale, ink, recent) {
  for (const stretch of cutRope(recent)) {
    const ends = [{ ...stretch[0], at_min: stretch[0].at_min - 0.5 }, ...stretch,
      { ...stretch[stretch.length - 1], at_min: stretch[stretch.length - 1].at_min + 0.5 }];
    const mean = ends.map((each) => [scale.x(each.at_min), scale.y(each.mean_mps)]);
    const gust = ends.map((each) => [scale.x(each.at_min), scale.y(each.gust_mps)]);
    const edges = [...mean, ...[...gust].reverse()];
    context.fillStyle = ink.trail;
    context.globalAlpha = 0.4;
    trace(context, edges);
    context.fill();
    context.globalAlpha = 1;
    layStrands(context, edges, ink);
    context.strokeStyle = ink.ink;
    context.lineWidth = 1.4;
    stroke(context, gust);
    context.lineWidth = 3;
    stroke(context, mean);
  }
}

function paintLimit(context, scale, ink, limit_mps, set) {
  if (limit_mps === null) return;
  context.strokeStyle = ink.ink;
  context.lineWidth = 2.5;
  context.setLineDash([12, 5]);
  stroke(context, [[LEFT_PX, scale.y(limit_mps)], [scale.right_px, scale.y(limit_mps)]]);
  context.setLineDash([]);
  context.font = `bold 13px ${ink.font}`;
  context.fillStyle = ink.ink;
  context.textAlign = "right";
  context.fillText(say("rope.limit", { limit: formatSpeed(limit_mps, set) }), scale.right_px, 14);
}

/** Each strip a stroke along the axis with a notch at its end; a refill is left open, what may be too late is pale. */
function paintStrips(context, scale, ink, outlook) {
  const y = scale.base_px + 14;
  const strips = planStrips(outlook.need).filter((part) => !part.isFill);
  const fit = fitStrips(outlook);
  const last = fit === null ? strips.length : fit.count;
  const each_px = strips.length > 1 ? scale.x(strips[0].to_min) - scale.x(0) : Infinity;
  const every = Math.max(1, Math.ceil(CLOSEST_PX / Math.max(each_px, 0.01)));
  strips.forEach((part, place) => {
    const fits = place < last;
    context.strokeStyle = fits ? ink.ink : ink.soft;
    context.lineWidth = fits ? 4 : 1;
    stroke(context, [[scale.x(part.from_min), y], [scale.x(part.to_min), y]]);
    context.lineWidth = fits ? 2 : 1;
    const notch_px = fits ? NOTCH_PX / 2 : NOTCH_PX / 4;
    if (place % every === 0) stroke(context, [[scale.x(part.to_min), y - notch_px], [scale.x(part.to_min), y + notch_px]]);
  });
  if (fit !== null && fit.stop_min !== null && fit.count < fit.of) paintStop(context, scale, ink, fit.stop_min);
}

/** A peg where to stop, at the end of the last strip that fits. */
function paintStop(context, scale, ink, stop_min) {
  const [x, y] = [scale.x(stop_min), scale.base_px + 14];
  context.strokeStyle = ink.ink;
  context.fillStyle = ink.ink;
  context.lineWidth = 4;
  stroke(context, [[x, y - NOTCH_PX], [x, y + 16]]);
  context.font = `bold 13px ${ink.font}`;
  const words = say("rope.stop_here");
  const half_px = context.measureText(words).width / 2;
  context.textAlign = "center";
  context.fillText(words, Math.max(LEFT_PX + half_px, Math.min(x, scale.right_px - half_px)), y + 29);
}

/** Paint the drawing. */
export function paintRopeAndStrips(context, width_px, height_px, ink, { outlook, set }) {
  if (!outlook?.recent) return;
  const scale = makeScale(outlook, width_px, height_px);
  paintFrame(context, scale, ink, outlook, set);
  paintRope(context, scale, ink, outlook.recent);
  paintLimit(context, scale, ink, outlook.limit_mps, set);
  paintStrips(context, scale, ink, outlook);
}
