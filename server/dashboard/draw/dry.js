// The fuzzy line at which the tank runs dry: strokes across the strip, the heavier the likelier it is dry by there.

import { likelyBy, spreadLine } from "../core/dry.js";
import { project } from "../core/geometry.js";
import { say } from "../core/say.js";

const ROW_PX = 9;
const THICK_PX = 8;
const LEAST = 0.04;
const STROKES = 21;
const LABEL_PX = 15;

function writeLabel(context, text, x, y, ink, align) {
  context.font = `bold ${LABEL_PX}px ${ink.font}`;
  context.textAlign = align;
  context.textBaseline = "middle";
  const width = context.measureText(text).width + 8;
  context.fillStyle = ink.paper;
  context.fillRect(align === "center" ? x - width / 2 : x - 4, y - LABEL_PX * 0.7, width, LABEL_PX * 1.4);
  context.fillStyle = ink.ink;
  context.fillText(text, x, y);
  context.textBaseline = "alphabetic";
}

/** On the strip underfoot: rows across it, the thicker the likelier the tank is dry by there. */
export function paintDryAhead(context, scale, view, { ahead_m, sd_m }, ink) {
  const row_m = ROW_PX / scale.along_px_per_m;
  const half_m = view.swath_m / 2;
  context.strokeStyle = ink.ink;
  for (let row = Math.ceil(view.walked_m / row_m); ; row += 1) {
    const along_m = row * row_m - view.walked_m;
    const y = scale.y(along_m);
    if (y < 0) break;
    const likely = likelyBy((along_m - ahead_m) / sd_m);
    if (likely < LEAST) continue;
    context.lineWidth = THICK_PX * likely;
    context.beginPath();
    context.moveTo(scale.x(-half_m), y);
    context.lineTo(scale.x(half_m), y);
    context.stroke();
  }
  const y = Math.max(scale.y(ahead_m), LABEL_PX);
  if (ahead_m - 2 * sd_m < scale.along(0) && ahead_m > 0) writeLabel(context, say("dry.label"), scale.x(half_m) + 8, y, ink, "left");
}

/** On the map: strokes across its strip, the denser the likelier, not behind the walker nor beyond the strip. */
export function paintDryOnMap(context, view, { east_m, north_m, heading_deg, sd_m, swath_m, from_m, to_m }, ink) {
  const angle = (heading_deg * Math.PI) / 180;
  const [ahead, right] = [[Math.sin(angle), Math.cos(angle)], [Math.cos(angle), -Math.sin(angle)]];
  const at = (along_m, across_m) => project(view, east_m + along_m * ahead[0] + across_m * right[0], north_m + along_m * ahead[1] + across_m * right[1]);
  const half_m = Math.max(swath_m / 2, 4 / view.px_per_m);
  const places = spreadLine(STROKES).map((deviations) => sd_m * deviations).filter((along_m) => along_m >= from_m && along_m <= to_m);
  for (const [colour, width] of [[ink.paper, 4], [ink.ink, 1.5]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    for (const along_m of places) {
      context.moveTo(...at(along_m, -half_m));
      context.lineTo(...at(along_m, half_m));
    }
    context.stroke();
  }
  const [x, y] = at(0, 0);
  writeLabel(context, say("dry.label"), x, y - half_m * view.px_per_m - LABEL_PX, ink, "center");
}
