// The touch-up plan on the lawn: numbered lines to walk, crossed bands to leave alone, dashes to look at.

import { project } from "../core/geometry.js";
import { placeLabels, placesRound } from "../core/labels.js";
import { makeHatch } from "./canvas.js";

const DISC_PX = 12;

function traceLine(context, view, line_m) {
  context.beginPath();
  line_m.forEach(([east_m, north_m], place) => {
    const [x, y] = project(view, east_m, north_m);
    if (place === 0) context.moveTo(x, y);
    else context.lineTo(x, y);
  });
}

function drawBand(context, view, line_m, width_m, pattern, ink) {
  traceLine(context, view, line_m);
  context.lineCap = "butt";
  context.lineWidth = Math.max(6, width_m * view.px_per_m);
  context.strokeStyle = ink.paper;
  context.stroke();
  context.strokeStyle = makeHatch(context, pattern, ink.ink);
  context.stroke();
}

function drawArrow(context, view, line_m, ink) {
  const [x0, y0] = project(view, ...line_m.at(-2));
  const [x1, y1] = project(view, ...line_m.at(-1));
  const angle = Math.atan2(y1 - y0, x1 - x0);
  context.save();
  context.translate(x1, y1);
  context.rotate(angle);
  context.beginPath();
  context.moveTo(2, 0);
  context.lineTo(-11, 7);
  context.lineTo(-11, -7);
  context.closePath();
  context.fillStyle = ink.ink;
  context.fill();
  context.restore();
}

function drawNumber(context, [x, y], number, ink) {
  context.beginPath();
  context.arc(x, y, DISC_PX, 0, 2 * Math.PI);
  context.fillStyle = ink.ink;
  context.fill();
  context.strokeStyle = ink.paper;
  context.lineWidth = 2;
  context.stroke();
  context.fillStyle = ink.paper;
  context.font = `bold 15px ${ink.font}`;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(String(number), x, y + 1);
  context.textBaseline = "alphabetic";
}

function drawOutline(context, view, ring_m, pattern, ink) {
  traceLine(context, view, ring_m);
  context.closePath();
  if (pattern !== null) {
    context.fillStyle = makeHatch(context, pattern, ink.ink);
    context.fill();
  }
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.stroke();
}

/** Draw the plan above the lawn and below its outlines' labels. */
export function drawMend(context, view, plan, ink) {
  for (const { kind, line_m, area_m2 } of plan.alone) {
    if (line_m.length < 2) continue;
    if (kind === "spot") drawOutline(context, view, line_m, "doubled", ink);
    else drawBand(context, view, line_m, Math.min(plan.swath_m, area_m2 / lengthOf(line_m)), "doubled", ink);
  }
  for (const strip of plan.looks) {
    for (const line_m of strip.lines_m) {
      if (strip.kind === "patch") drawOutline(context, view, line_m, "unsure", ink);
      else drawBand(context, view, line_m, Math.max(strip.width_m, 0.3) / strip.lines_m.length, "unsure", ink);
    }
  }
  for (const strip of plan.repeats) {
    for (const line_m of strip.lines_m) {
      if (strip.kind === "patch") {
        drawOutline(context, view, line_m, "missed", ink);
        continue;
      }
      traceLine(context, view, line_m);
      context.strokeStyle = ink.paper;
      context.lineWidth = 8;
      context.stroke();
      context.strokeStyle = ink.ink;
      context.lineWidth = 4;
      context.stroke();
      drawArrow(context, view, line_m, ink);
    }
  }
  const size_px = 2 * DISC_PX + 2;
  const starts = plan.repeats.map(({ order, lines_m }) => ({ width_px: size_px, height_px: size_px, rank: order,
    places: placesRound(project(view, ...lines_m[0][0]), size_px, size_px) }));
  placeLabels(starts).forEach((found, place) => {
    if (found !== null) drawNumber(context, found.place, plan.repeats[place].order, ink); // the list has those that find no room
  });
}

function lengthOf(line_m) {
  return line_m.slice(1).reduce((sum, [east_m, north_m], place) => sum + Math.hypot(east_m - line_m[place][0], north_m - line_m[place][1]), 1e-9);
}
