// Lines over time: the wind against its limit, the flow and the pace.

import { say } from "../core/say.js";
import { formatNumber } from "../core/format.js";
import { ticksWithin } from "../core/geometry.js";
import { hitAxis } from "../core/hit.js";
import { makeHatch } from "./canvas.js";

const LEFT_PX = 46;
const RIGHT_PX = 12;
const TOP_PX = 28;
const BOTTOM_PX = 34;

function highest(lines, level) {
  let top = level?.value ?? 0;
  for (const { values, spread } of lines) {
    values.forEach((value, place) => {
      if (Number.isFinite(value)) top = Math.max(top, value + (spread?.[place] ?? 0));
    });
  }
  return top > 0 ? top * 1.08 : 1;
}

function drawFrame(context, scale, ink, unit) {
  const { width_px, height_px, top, from_s, to_s } = scale;
  context.font = `14px ${ink.font}`;
  context.fillStyle = ink.ink;
  context.strokeStyle = ink.rule;
  context.lineWidth = 1;
  context.textAlign = "right";
  context.textBaseline = "middle";
  for (const tick of ticksWithin(0, top, 4)) {
    const y = scale.y(tick);
    context.beginPath();
    context.moveTo(LEFT_PX, y);
    context.lineTo(width_px - RIGHT_PX, y);
    context.stroke();
    context.fillText(tick === 0 ? "0" : formatNumber(tick, 2), LEFT_PX - 6, y);
  }
  context.textAlign = "center";
  context.textBaseline = "alphabetic";
  for (const minute of ticksWithin(0, (to_s - from_s) / 60, 5)) {
    context.fillText(formatNumber(minute, 2), scale.x(from_s + minute * 60), height_px - 14);
  }
  context.textAlign = "right";
  context.fillText(say("drawn.minutes"), width_px - RIGHT_PX, height_px - 1);
  context.textAlign = "left";
  context.fillText(unit, 4, 14);
}

function drawBand(context, scale, t_s, { values, spread }, colour) {
  context.fillStyle = colour;
  context.globalAlpha = 0.3;
  for (let place = 1; place < t_s.length; place += 1) {
    const points = [place - 1, place].map((k) => [t_s[k], values[k], spread[k]]);
    if (points.some(([, value, width]) => !Number.isFinite(value) || !Number.isFinite(width))) continue;
    const [[t0, a, da], [t1, b, db]] = points;
    context.beginPath();
    context.moveTo(scale.x(t0), scale.y(a + da));
    context.lineTo(scale.x(t1), scale.y(b + db));
    context.lineTo(scale.x(t1), scale.y(Math.max(0, b - db)));
    context.lineTo(scale.x(t0), scale.y(Math.max(0, a - da)));
    context.fill();
  }
  context.globalAlpha = 1;
}

function drawLine(context, scale, t_s, { values, dash = [], width = 2 }, colour) {
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.setLineDash(dash);
  context.beginPath();
  let isDown = false;
  values.forEach((value, place) => {
    if (value === null || !Number.isFinite(value)) {
      isDown = false; // what is not known leaves a gap, never a line across it
      return;
    }
    const [x, y] = [scale.x(t_s[place]), scale.y(value)];
    if (isDown) context.lineTo(x, y);
    else context.moveTo(x, y);
    isDown = true;
  });
  context.stroke();
  context.setLineDash([]);
}

function drawLevel(context, scale, { value, name }, ink) {
  const y = scale.y(value);
  context.strokeStyle = ink.ink;
  context.lineWidth = 2.5;
  context.setLineDash([12, 5]);
  context.beginPath();
  context.moveTo(LEFT_PX, y);
  context.lineTo(scale.width_px - RIGHT_PX, y);
  context.stroke();
  context.setLineDash([]);
  context.font = `bold 14px ${ink.font}`;
  context.textAlign = "right";
  context.fillStyle = ink.ink;
  // Named above the frame: at the line itself the name would cover the wind just where it matters.
  context.fillText(`╌╌ ${name}`, scale.width_px - RIGHT_PX, 14);
}

const SPAN_PX = 10;

function drawSpans(context, scale, spans, ink) {
  const y = scale.y(0) - SPAN_PX;
  for (const { level, from_s, to_s } of spans) {
    const [left, width] = [scale.x(from_s), Math.max(2, scale.x(to_s) - scale.x(from_s))];
    context.fillStyle = level === "stop" ? ink.ink : makeHatch(context, "doubled", ink.ink);
    context.fillRect(left, y, width, SPAN_PX);
    context.strokeStyle = ink.ink;
    context.lineWidth = 1;
    context.strokeRect(left, y, width, SPAN_PX);
  }
}

/** The time at a point of the drawing; null outside its frame. */
export function timeAt(x, width_px, t_s) {
  return t_s.length < 2 ? null : hitAxis(x, [LEFT_PX, width_px - RIGHT_PX], [t_s[0], t_s.at(-1)]);
}

/** What is looked at, from foot to head: a frame that leaves the lines in it as they are. */
function drawPart(context, scale, [from_s, to_s], ink) {
  const held = (t) => scale.x(Math.min(scale.to_s, Math.max(scale.from_s, t)));
  const [left, right] = [held(from_s), held(to_s)];
  context.fillStyle = ink.rule;
  context.globalAlpha = 0.45;
  context.fillRect(left, TOP_PX - 4, right - left, scale.height_px - TOP_PX - BOTTOM_PX + 4);
  context.globalAlpha = 1;
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.strokeRect(left, TOP_PX - 4, right - left, scale.height_px - TOP_PX - BOTTOM_PX + 4);
}

function drawMoment(context, scale, t, ink) {
  const x = scale.x(Math.min(scale.to_s, Math.max(scale.from_s, t)));
  for (const [colour, width] of [[ink.paper, 7], [ink.ink, 3]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    context.moveTo(x, TOP_PX - 6);
    context.lineTo(x, scale.height_px - BOTTOM_PX + 6);
    context.stroke();
  }
}

/** Paint lines over the same times, in the user's unit, with an optional level to hold them against, and spans in which
 * an alarm was told along the foot: full for stop, crossed for notice; `looked` is a span that is looked at,
 * `moment` the time that a playback has come to. */
export function paintTraces(context, width_px, height_px, ink, { t_s, lines, level = null, unit, spans = [], looked = null, moment = null }) {
  if (t_s.length < 2) {
    context.fillStyle = ink.ink;
    context.font = `16px ${ink.font}`;
    context.fillText(say("drawn.nothing"), 8, 24);
    return;
  }
  const [from_s, to_s] = [t_s[0], t_s[t_s.length - 1]];
  const top = highest(lines, level);
  const scale = {
    width_px, height_px, top, from_s, to_s,
    x: (t) => LEFT_PX + ((t - from_s) / Math.max(1e-9, to_s - from_s)) * (width_px - LEFT_PX - RIGHT_PX),
    y: (value) => height_px - BOTTOM_PX - (value / top) * (height_px - TOP_PX - BOTTOM_PX),
  };
  if (looked !== null) drawPart(context, scale, looked, ink);
  drawFrame(context, scale, ink, unit);
  for (const line of lines) {
    if (line.spread) drawBand(context, scale, t_s, line, ink.trail);
    drawLine(context, scale, t_s, line, line.isMain ? ink.ink : ink.soft);
  }
  drawSpans(context, scale, spans, ink);
  if (moment !== null) drawMoment(context, scale, moment, ink);
  if (level) drawLevel(context, scale, level, ink);
}
