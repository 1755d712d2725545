// The lawn seen from above, north up: outline, dose, way, rig, scale bar.

import { formatNumber } from "../core/format.js";
import { boundsOf, fitView, project, roundLength } from "../core/geometry.js";
import { say } from "../core/say.js";
import { emptyTrail, growTrail, pointsOf } from "../core/trail.js";
import { convert, revert, unitOf } from "../core/units.js";
import { makeHatch } from "./canvas.js";
import { paintDryOnMap } from "./dry.js";
import { drawMend } from "./mendmap.js";
import { drawStrips, labelStrips } from "./strips.js";

const MARGIN_PX = 30;
const TRAIL_PX = 0.4; // a point that lies so near the line is not drawn by itself

export { DoseImage } from "./doseimage.js";

/** A path of rings, closed. */
export function tracePath(context, view, rings_m) {
  context.beginPath();
  for (const ring of rings_m) {
    ring.forEach(([east_m, north_m], place) => {
      const [x, y] = project(view, east_m, north_m);
      if (place === 0) context.moveTo(x, y);
      else context.lineTo(x, y);
    });
    context.closePath();
  }
}

function drawZones(context, view, zones, ink, isBare) {
  for (const zone of zones.filter(({ kind }) => kind === "zone")) {
    tracePath(context, view, zone.rings_m);
    context.fillStyle = isBare ? ink.paper : ink.lawn;
    context.fill("evenodd");
  }
  for (const zone of zones.filter(({ kind }) => kind !== "zone")) {
    tracePath(context, view, zone.rings_m);
    context.fillStyle = ink.paper;
    context.fill("evenodd");
  }
}

function drawOutlines(context, view, zones, ink) {
  for (const zone of zones) {
    tracePath(context, view, zone.rings_m);
    context.strokeStyle = ink.ink;
    context.lineWidth = 2;
    context.setLineDash(zone.kind === "zone" ? [] : [5, 4]);
    context.stroke();
  }
  context.setLineDash([]);
}

const trails = new WeakMap(); // of each way, so that a frame draws corners and not hours of points

function trailOf(track, px_per_m) {
  const known = trails.get(track);
  const finest_m = TRAIL_PX / px_per_m;
  const isGood = known && known.tolerance_m <= 1.5 * finest_m && known.tolerance_m >= 0.3 * finest_m;
  const trail = growTrail(isGood ? known : emptyTrail(finest_m), track);
  trails.set(track, trail);
  return trail;
}

function drawTrack(context, view, track, ink, smoothed) {
  const { runs } = trailOf(track, view.px_per_m);
  for (const isSpraying of [false, true]) {
    context.beginPath();
    for (const run of runs) {
      if (run.isSpraying !== isSpraying) continue;
      pointsOf(run, track, isSpraying ? smoothed : 0).forEach(([east_m, north_m], corner) => {
        const [x, y] = project(view, east_m, north_m);
        if (corner === 0) context.moveTo(x, y);
        else context.lineTo(x, y);
      });
    }
    context.strokeStyle = ink.trail;
    context.lineWidth = isSpraying ? 1.5 : 1;
    context.setLineDash(isSpraying ? [] : [2, 4]);
    context.stroke();
  }
  context.setLineDash([]);
}

/** The rig, its bow where it points. */
export function drawRig(context, view, position, ink) {
  const [x, y] = project(view, position.east_m, position.north_m);
  context.save();
  context.translate(x, y);
  context.lineWidth = 3;
  context.strokeStyle = ink.paper;
  context.fillStyle = ink.ink;
  context.beginPath();
  if (position.heading_deg === null) context.arc(0, 0, 9, 0, 2 * Math.PI);
  else {
    context.rotate((position.heading_deg * Math.PI) / 180);
    context.moveTo(0, -17);
    context.lineTo(11, 12);
    context.lineTo(0, 6);
    context.lineTo(-11, 12);
    context.closePath();
  }
  context.stroke();
  context.fill();
  context.restore();
}

/** A scale bar and where north is. */
export function drawScaleBar(context, view, width_px, height_px, ink, set) {
  const longest = convert((width_px * 0.3) / view.px_per_m, "length", set);
  const length = roundLength(longest);
  const length_px = revert(length, "length", set) * view.px_per_m;
  context.strokeStyle = ink.ink;
  context.fillStyle = ink.ink;
  context.lineWidth = 2;
  context.beginPath();
  context.moveTo(8, height_px - 14);
  context.lineTo(8, height_px - 8);
  context.lineTo(8 + length_px, height_px - 8);
  context.lineTo(8 + length_px, height_px - 14);
  context.stroke();
  context.font = `15px ${ink.font}`;
  context.textBaseline = "alphabetic";
  context.textAlign = "left";
  context.fillText(`${formatNumber(length, 2)} ${unitOf("length", set)}`, 14 + length_px, height_px - 7);
  context.textAlign = "right";
  context.fillText(say("map.north"), width_px - 8, height_px - 7);
  context.beginPath();
  context.moveTo(width_px - 13, height_px - 44);
  context.lineTo(width_px - 13, height_px - 22);
  context.moveTo(width_px - 18, height_px - 37);
  context.lineTo(width_px - 13, height_px - 44);
  context.lineTo(width_px - 8, height_px - 37);
  context.stroke();
}

function drawFindings(context, view, findings, ink) {
  for (const finding of findings) {
    tracePath(context, view, [finding.ring_m]);
    if (finding.kind !== "missed" && finding.kind !== "doubled") {
      context.fillStyle = makeHatch(context, finding.kind, ink.ink);
      context.fill("evenodd");
    }
    context.strokeStyle = ink.ink;
    context.lineWidth = 1;
    context.stroke();
  }
}

/** How a scene lies in a frame of pixels; null where there is nothing to see. */
export function viewOf({ zones, dose, track, position = null }, width_px, height_px) {
  const box = boundsOf({ zones, dose, track, position });
  return box === null ? null : fitView(box, width_px, height_px, MARGIN_PX);
}

function drawLooked(context, view, way, ink) {
  for (const [colour, width] of [[ink.paper, 9], [ink.ink, 5]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    way.forEach(([east_m, north_m], place) => (place === 0 ? context.moveTo(...project(view, east_m, north_m)) : context.lineTo(...project(view, east_m, north_m))));
    context.stroke();
  }
}

/** Paint the whole picture; what is null or empty is left out. */
export function paintLawn(context, width_px, height_px, ink, scene) {
  const { zones, dose, track, position = null, findings = [], target_l_per_m2, set, image, grain = null,
    strips = null, mend = null, looked = [], until_s = Infinity, dry = null } = scene;
  const view = scene.view ?? viewOf(scene, width_px, height_px);
  if (view === null) {
    context.fillStyle = ink.ink;
    context.font = `17px ${ink.font}`;
    context.textAlign = "center";
    context.fillText(say("map.empty"), width_px / 2, height_px / 2);
    return;
  }
  drawZones(context, view, zones, ink, grain !== null);
  image.draw(context, view, dose, target_l_per_m2, ink, grain !== null);
  grain?.draw(context, view, ink, until_s);
  drawFindings(context, view, findings, ink);
  drawOutlines(context, view, zones, ink);
  if (strips !== null) drawStrips(context, view, strips, ink);
  drawTrack(context, view, track, ink, grain === null ? strips?.way_points ?? 0 : Infinity);
  if (looked.length > 1) drawLooked(context, view, looked, ink);
  if (mend !== null) drawMend(context, view, mend, ink);
  if (strips !== null) labelStrips(context, view, strips, ink);
  if (dry !== null) paintDryOnMap(context, view, dry, ink);
  if (position !== null) drawRig(context, view, position, ink);
  drawScaleBar(context, view, width_px, height_px, ink, set);
}
