// The fuzzy line at which the tank runs dry: rows across the strip, thicker sown the likelier it is dry by there.

import { project } from "../core/geometry.js";
import { say } from "../core/say.js";
import { frayOf } from "../core/underfoot.js";

const ROW_PX = 7;
const STROKES = 28;
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

/** On the strip underfoot: a row is drawn where, by its own draw from the bell, the tank is dry by then. */
export function paintDryAhead(context, scale, view, { ahead_m, sd_m }, ink) {
  const row_m = ROW_PX / scale.px_per_m;
  const half_m = view.swath_m / 2;
  const first = Math.ceil(view.walked_m / row_m);
  context.strokeStyle = ink.ink;
  context.lineWidth = 3;
  context.beginPath();
  for (let row = first; scale.y(row * row_m - view.walked_m) > -ROW_PX; row += 1) {
    const along_m = row * row_m - view.walked_m;
    if (along_m < ahead_m + sd_m * frayOf(row, 2)) continue;
    context.moveTo(scale.x(-half_m), scale.y(along_m));
    context.lineTo(scale.x(half_m), scale.y(along_m));
  }
  context.stroke();
  if (scale.y(ahead_m) > LABEL_PX && ahead_m > 0) writeLabel(context, say("dry.label"), scale.x(half_m) + 8, scale.y(ahead_m), ink, "left");
}

/** On the map: strokes across its strip, sown about the place as it is known. */
export function paintDryOnMap(context, view, { east_m, north_m, heading_deg, sd_m, swath_m }, ink) {
  const angle = (heading_deg * Math.PI) / 180;
  const [ahead, right] = [[Math.sin(angle), Math.cos(angle)], [Math.cos(angle), -Math.sin(angle)]];
  const at = (along_m, across_m) => project(view, east_m + along_m * ahead[0] + across_m * right[0], north_m + along_m * ahead[1] + across_m * right[1]);
  const half_m = Math.max(swath_m / 2, 4 / view.px_per_m);
  for (const [colour, width] of [[ink.paper, 4], [ink.ink, 1.5]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    for (let stroke = 0; stroke < STROKES; stroke += 1) {
      const along_m = sd_m * frayOf(stroke, 3);
      context.moveTo(...at(along_m, -half_m));
      context.lineTo(...at(along_m, half_m));
    }
    context.stroke();
  }
  const [x, y] = at(0, 0);
  writeLabel(context, say("dry.label"), x, y - 16, ink, "center");
}
