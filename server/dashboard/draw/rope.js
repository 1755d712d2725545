// The wind of the last half hour as a rope as thick as its gusts, the limit above it, the coming strips as notches.

import { formatNumber, formatSpeed } from "../core/format.js";
import { ticksWithin } from "../core/geometry.js";
import { PAST_MIN, cutRope, planStrips } from "../core/rope.js";
import { convert, revert, unitOf } from "../core/units.js";

const LEFT_PX = 34;
const RIGHT_PX = 8;
const TOP_PX = 26;
const BOTTOM_PX = 46;
const NOTCH_PX = 16;
const CLOSEST_PX = 4;

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

function stroke(context, points) {
  context.beginPath();
  points.forEach(([x, y], place) => (place === 0 ? context.moveTo(x, y) : context.lineTo(x, y)));
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
  const words = scale.base_px + 38;
  context.fillText(`${PAST_MIN} min ago`, LEFT_PX, words);
  context.textAlign = "right";
  context.fillText(`in ${outlook.need.minutes} min`, scale.right_px, words);
  context.textAlign = "center";
  context.font = `bold 13px ${ink.font}`;
  context.fillText("now", scale.x(0), words);
  context.strokeStyle = ink.ink;
  stroke(context, [[scale.x(0), TOP_PX - 4], [scale.x(0), scale.base_px + 24]]);
}

function paintRope(context, scale, ink, recent) {
  for (const stretch of cutRope(recent)) {
    const ends = [{ ...stretch[0], at_min: stretch[0].at_min - 0.5 }, ...stretch,
      { ...stretch[stretch.length - 1], at_min: stretch[stretch.length - 1].at_min + 0.5 }];
    const mean = ends.map((each) => [scale.x(each.at_min), scale.y(each.mean_mps)]);
    const gust = ends.map((each) => [scale.x(each.at_min), scale.y(each.gust_mps)]);
    context.fillStyle = ink.trail;
    context.globalAlpha = 0.45;
    context.beginPath();
    [...mean, ...gust.reverse()].forEach(([x, y], place) => (place === 0 ? context.moveTo(x, y) : context.lineTo(x, y)));
    context.fill();
    context.globalAlpha = 1;
    context.strokeStyle = ink.ink;
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
  context.fillText(`╌╌ limit ${formatSpeed(limit_mps, set)}`, scale.right_px, 14);
}

/** Each strip a stroke along the axis with a notch at its end; a refill is left open. */
function paintStrips(context, scale, ink, need) {
  const y = scale.base_px + 12;
  const strips = planStrips(need);
  const each_px = strips.length > 1 ? scale.x(strips[0].to_min) - scale.x(0) : Infinity;
  const every = Math.max(1, Math.ceil(CLOSEST_PX / Math.max(each_px, 0.01)));
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  strips.filter((part) => !part.isFill).forEach((part, place) => {
    stroke(context, [[scale.x(part.from_min), y], [scale.x(part.to_min), y]]);
    if (place % every === 0) stroke(context, [[scale.x(part.to_min), y - NOTCH_PX / 2], [scale.x(part.to_min), y + NOTCH_PX / 2]]);
  });
}

/** Paint the drawing. */
export function paintRopeAndStrips(context, width_px, height_px, ink, { outlook, set }) {
  if (!outlook?.recent) return;
  const scale = makeScale(outlook, width_px, height_px);
  paintFrame(context, scale, ink, outlook, set);
  paintRope(context, scale, ink, outlook.recent);
  paintLimit(context, scale, ink, outlook.limit_mps, set);
  paintStrips(context, scale, ink, outlook.need);
}
