// The wind of a stretch of time: mean with its scatter, highest gusts, what is not known; the direction below.

import { formatNumber } from "../core/format.js";
import { ticksWithin } from "../core/geometry.js";
import { isNext, topOf } from "../core/past.js";
import { makeHatch } from "./canvas.js";
import { say } from "../core/say.js";

const LEFT_PX = 46;
const RIGHT_PX = 10;
const TOP_PX = 30;
const BOTTOM_PX = 38;
const WALK_PX = 7;
export const SIDES_PX = LEFT_PX + RIGHT_PX;

/** Where an instant lies from left to right, and back. */
export function scaleTime({ from_s, to_s }, width_px) {
  const px_per_s = (width_px - SIDES_PX) / (to_s - from_s);
  return { x: (at_s) => LEFT_PX + (at_s - from_s) * px_per_s, at: (x_px) => from_s + (x_px - LEFT_PX) / px_per_s };
}

function write(context, ink, text, x, y, { align = "left", weight = "" } = {}) {
  context.font = `${weight} 14px ${ink.font}`.trim();
  context.fillStyle = ink.ink;
  context.textAlign = align;
  context.fillText(text, x, y);
}

function drawLine(context, x0, y0, x1, y1) {
  context.beginPath();
  context.moveTo(x0, y0);
  context.lineTo(x1, y1);
  context.stroke();
}

function drawTimes(context, { x, ticks, width_px, height_px, bottom_px }, ink) {
  context.strokeStyle = ink.soft;
  context.lineWidth = 1;
  let free_px = 0;
  for (const { at_s, until_s, label, isNaming } of ticks) {
    drawLine(context, x(at_s), height_px - bottom_px, x(at_s), height_px - bottom_px + (isNaming ? 24 : 10));
    const half_px = context.measureText(label).width / 2;
    const wanted_px = isNaming ? (x(at_s) + x(until_s)) / 2 : x(at_s);
    const at_px = Math.min(wanted_px, width_px - half_px - 2);
    if (at_px - half_px < free_px) continue; // labels never lie on one another
    write(context, ink, label, at_px, height_px - 6, { align: "center" });
    free_px = at_px + half_px + 4;
  }
}

function drawGaps(context, { x, gaps, height_px, bottom_px }, ink) {
  context.fillStyle = makeHatch(context, "unsure", ink.soft);
  for (const { from_s, to_s } of gaps) {
    context.fillRect(x(from_s), TOP_PX, Math.max(1, x(to_s) - x(from_s)), height_px - bottom_px - TOP_PX);
  }
}

function drawSpeeds(context, { x, y, steps, height_px }, ink) {
  context.fillStyle = ink.trail;
  context.globalAlpha = 0.3;
  for (const { from_s, to_s, mean_mps, mean_sd_mps } of steps) {
    if (mean_sd_mps === null) continue;
    const [high_px, low_px] = [y(mean_mps + mean_sd_mps), y(Math.max(0, mean_mps - mean_sd_mps))];
    context.fillRect(x(from_s), high_px, Math.max(1, x(to_s) - x(from_s)), Math.max(1, low_px - high_px));
  }
  context.globalAlpha = 1;
  context.fillStyle = ink.ink;
  for (const { from_s, to_s, gust_3s_mps } of steps) {
    if (gust_3s_mps !== null) context.fillRect((x(from_s) + x(to_s)) / 2 - 1, y(gust_3s_mps) - 1, 2, 2);
  }
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.beginPath();
  steps.forEach((step, place) => {
    const level_px = y(step.mean_mps);
    if (isNext(steps[place - 1], step)) context.lineTo(x(step.from_s), level_px);
    else context.moveTo(x(step.from_s), level_px);
    context.lineTo(Math.max(x(step.to_s), x(step.from_s) + 1), level_px);
  });
  context.stroke();
  for (const { from_s, to_s, standing } of steps) {
    const share = 1 - standing; // how much of it was walked: a mark under the axis, as long as that share
    if (share > 0.005) context.fillRect(x(from_s), height_px - BOTTOM_PX + 3, Math.max(1, (x(to_s) - x(from_s)) * share), WALK_PX - 3);
  }
}

function drawLevel(context, { y, width_px }, level, ink) {
  context.strokeStyle = ink.ink;
  context.lineWidth = 2.5;
  context.setLineDash([12, 5]);
  drawLine(context, LEFT_PX, y(level.value_mps), width_px - RIGHT_PX, y(level.value_mps));
  context.setLineDash([]);
  write(context, ink, `╌╌ ${level.name}`, width_px - RIGHT_PX, 15, { align: "right", weight: "bold" });
}

function drawCursor(context, { x, height_px, bottom_px }, step, ink) {
  const [left_px, right_px] = [x(step.from_s), Math.max(x(step.to_s), x(step.from_s) + 3)];
  context.strokeStyle = ink.ink;
  context.lineWidth = 1.5;
  context.strokeRect(left_px - 1, TOP_PX - 4, right_px - left_px + 2, height_px - bottom_px - TOP_PX + 8);
}

/** Paint speeds: `toUnit` turns m/s into the user's unit, `chosen` is the step looked at or undefined. */
export function paintSpeeds(context, width_px, height_px, ink, { period, steps, gaps, ticks, level, toUnit, unit, chosen }) {
  const top = topOf(steps, toUnit, level?.value_mps ?? null);
  const scale = {
    ...scaleTime(period, width_px), steps, gaps, ticks, width_px, height_px, bottom_px: BOTTOM_PX,
    y: (value_mps) => height_px - BOTTOM_PX - (toUnit(value_mps) / top) * (height_px - TOP_PX - BOTTOM_PX),
  };
  drawGaps(context, scale, ink);
  context.strokeStyle = ink.rule;
  context.lineWidth = 1;
  for (const tick of ticksWithin(0, top, 4)) {
    const level_px = height_px - BOTTOM_PX - (tick / top) * (height_px - TOP_PX - BOTTOM_PX);
    drawLine(context, LEFT_PX, level_px, width_px - RIGHT_PX, level_px);
    write(context, ink, tick === 0 ? "0" : formatNumber(tick, 2), LEFT_PX - 6, level_px + 5, { align: "right" });
  }
  write(context, ink, unit, 4, 15);
  drawTimes(context, scale, ink);
  drawSpeeds(context, scale, ink);
  if (level) drawLevel(context, scale, level, ink);
  if (chosen) drawCursor(context, scale, chosen, ink);
}

const HORIZON = [[0, "N"], [90, "E"], [180, "S"], [270, "W"], [360, "N"]];

/** Paint where the wind came from over the same time: a dot with its scatter, nothing where it is not known. */
export function paintDirections(context, width_px, height_px, ink, { period, steps, ticks, chosen }) {
  const [top_px, bottom_px] = [TOP_PX, 28];
  const room_px = height_px - top_px - bottom_px;
  const y = (deg) => top_px + (deg / 360) * room_px;
  const scale = { ...scaleTime(period, width_px), ticks, width_px, height_px, bottom_px };
  write(context, ink, say("air.from"), 4, 15);
  context.strokeStyle = ink.rule;
  context.lineWidth = 1;
  for (const [deg, name] of HORIZON) {
    drawLine(context, LEFT_PX, y(deg), width_px - RIGHT_PX, y(deg));
    write(context, ink, name, LEFT_PX - 6, y(deg) + 5, { align: "right" });
  }
  drawTimes(context, scale, ink);
  context.save();
  context.beginPath();
  context.rect(LEFT_PX, top_px - 3, width_px - SIDES_PX, room_px + 6);
  context.clip();
  for (const { from_s, to_s, from_deg, from_sd_deg } of steps) {
    if (from_deg === null) continue;
    const middle_px = (scale.x(from_s) + scale.x(to_s)) / 2;
    for (const turned of [from_deg - 360, from_deg, from_deg + 360]) {
      context.fillStyle = ink.trail;
      context.globalAlpha = 0.4;
      context.fillRect(middle_px - 1, y(turned - (from_sd_deg ?? 0)), 2, y(2 * (from_sd_deg ?? 0)) - top_px);
      context.globalAlpha = 1;
      context.fillStyle = ink.ink;
      context.fillRect(middle_px - 2, y(turned) - 2, 4, 4);
    }
  }
  context.restore();
  if (chosen) drawCursor(context, scale, chosen, ink);
}
