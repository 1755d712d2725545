// The drawing of a site's shapes, north up: taps and drags on it are told in metres and points of the screen.

import { boundsOf, fitView, project } from "../core/geometry.js";
import { keepPainted, makeHatch, placeOn, readRoom } from "./canvas.js";
import { element } from "./element.js";
import { drawRig, drawScaleBar, tracePath } from "./lawn.js";
import { say } from "../core/say.js";

const MARGIN_PX = 32;
const TAP_PX = 8;
const ROOM_M = 20;

function drawShapes(context, view, scene, ink) {
  scene.shapes.forEach(({ kind, rings_m }, place) => {
    tracePath(context, view, rings_m);
    context.fillStyle = kind === "zone" ? ink.lawn : makeHatch(context, "keep_out", ink.soft);
    context.fill("evenodd");
    context.strokeStyle = ink.ink;
    context.lineWidth = place === scene.chosen ? 4 : 2;
    context.setLineDash(kind === "zone" ? [] : [5, 4]);
    context.stroke();
  });
  context.setLineDash([]);
}

function drawNames(context, view, scene, ink) {
  context.font = `15px ${ink.font}`;
  context.textAlign = "center";
  context.textBaseline = "middle";
  scene.shapes.forEach(({ kind, rings_m, label }, place) => {
    const corners = rings_m[0] ?? [];
    if (corners.length === 0 || kind !== "zone" || place === scene.chosen) return; // the chosen one shows its corners
    const width_m = Math.max(...corners.map(([east_m]) => east_m)) - Math.min(...corners.map(([east_m]) => east_m));
    if (context.measureText(label).width > 1.2 * width_m * view.px_per_m) return;
    const middle = [0, 1].map((axis) => corners.reduce((sum, corner) => sum + corner[axis], 0) / corners.length);
    const [x, y] = project(view, ...middle);
    context.lineWidth = 4;
    context.strokeStyle = ink.paper;
    context.strokeText(label, x, y);
    context.fillStyle = ink.ink;
    context.fillText(label, x, y);
  });
}

function drawLine(context, view, places_m, ink, dash) {
  context.beginPath();
  places_m.forEach((place, at) => context[at === 0 ? "moveTo" : "lineTo"](...project(view, ...place)));
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.setLineDash(dash);
  context.stroke();
  context.setLineDash([]);
}

function drawCorners(context, view, places_m, ink, chosen) {
  places_m.forEach((place, at) => {
    const [x, y] = project(view, ...place);
    const half = at === chosen ? 9 : 6;
    context.fillStyle = at === chosen ? ink.ink : ink.paper;
    context.strokeStyle = ink.ink;
    context.lineWidth = 2;
    context.fillRect(x - half, y - half, 2 * half, 2 * half);
    context.strokeRect(x - half, y - half, 2 * half, 2 * half);
  });
}

function drawMarks(context, view, marks_m, ink) {
  for (const mark of marks_m) {
    const [x, y] = project(view, ...mark);
    for (const [width, colour] of [[9, ink.paper], [4, ink.ink]]) {
      context.lineWidth = width;
      context.strokeStyle = colour;
      context.beginPath();
      context.arc(x, y, 16, 0, 2 * Math.PI);
      context.moveTo(x - 8, y - 8);
      context.lineTo(x + 8, y + 8);
      context.moveTo(x + 8, y - 8);
      context.lineTo(x - 8, y + 8);
      context.stroke();
    }
  }
}

function paint(context, width_px, height_px, ink, view, scene, set) {
  drawShapes(context, view, scene, ink);
  if (scene.trail_m.length > 1) drawLine(context, view, scene.trail_m, { ink: ink.trail }, [2, 4]);
  for (const ring of scene.offered_m) drawLine(context, view, ring, ink, [2, 4]);
  if (scene.way_m.length > 1) drawLine(context, view, scene.way_m, ink, [2, 3]);
  drawNames(context, view, scene, ink);
  if (scene.sketch_m.length > 0) {
    drawLine(context, view, scene.sketch_m, ink, []);
    if (scene.isClosing && scene.sketch_m.length > 2) drawLine(context, view, [scene.sketch_m.at(-1), scene.sketch_m[0]], ink, [6, 5]);
    drawCorners(context, view, scene.sketch_m, ink, scene.sketch_m.length - 1);
  }
  scene.corners_m.forEach((ring, at) => drawCorners(context, view, ring, ink, scene.corner?.ring === at ? scene.corner.corner : -1));
  drawMarks(context, view, scene.marks_m, ink);
  if (scene.position) drawRig(context, view, scene.position, ink);
  drawScaleBar(context, view, width_px, height_px, ink, set);
}

/** The drawing. `look` gives the scene in metres and `set`; `on` takes tap(at), grab(at) (whether a corner is held), drag(at), drop(). */
export function makeShapeMap(look, on) {
  const canvas = element("canvas", { class: "shape-map", role: "img", "aria-label": say("site.drawing") });
  let view = null;
  let isFitted = true;
  let hand = null;
  let size = "";
  const fit = (width_px, height_px) => {
    const scene = look();
    const box = boundsOf({ zones: [...scene.shapes, { rings_m: [scene.sketch_m, scene.way_m, ...scene.offered_m] }], position: scene.near });
    const around = box ?? { west_m: -ROOM_M, east_m: ROOM_M, south_m: -ROOM_M, north_m: ROOM_M };
    const room = box === null || box.east_m - box.west_m + box.north_m - box.south_m > 4 ? 0 : ROOM_M / 2;
    return fitView({ west_m: around.west_m - room, east_m: around.east_m + room, south_m: around.south_m - room, north_m: around.north_m + room },
      width_px, height_px, MARGIN_PX);
  };
  const painted = keepPainted(canvas, (context, width_px, height_px, ink) => {
    const isOther = size !== `${width_px} ${height_px}`;
    size = `${width_px} ${height_px}`;
    if (view === null || (isFitted && hand === null && (isOther || look().isFollowing))) view = fit(width_px, height_px);
    paint(context, width_px, height_px, ink, view, look(), look().set);
  });
  const at = (event) => {
    const px = placeOn(canvas, event);
    const place_m = [(px[0] - view.left_px) / view.px_per_m, (view.top_px - px[1]) / view.px_per_m];
    return { px, place_m, px_per_m: view.px_per_m };
  };
  canvas.addEventListener("pointerdown", (event) => {
    if (view === null || hand !== null) return;
    canvas.setPointerCapture(event.pointerId);
    const start = at(event);
    hand = { id: event.pointerId, start, view, isMoved: false, isHolding: on.grab(start) };
  });
  canvas.addEventListener("pointermove", (event) => {
    if (hand === null || event.pointerId !== hand.id) return;
    const now = at(event);
    const [dx, dy] = [now.px[0] - hand.start.px[0], now.px[1] - hand.start.px[1]];
    if (!hand.isMoved && Math.hypot(dx, dy) < TAP_PX) return;
    hand.isMoved = true;
    if (hand.isHolding) on.drag(now);
    else {
      isFitted = false;
      view = { ...hand.view, left_px: hand.view.left_px + dx, top_px: hand.view.top_px + dy };
    }
    painted.ask();
  });
  const end = (event) => {
    if (hand === null || event.pointerId !== hand.id) return;
    const { isMoved, isHolding, start } = hand;
    hand = null;
    if (isMoved && isHolding) on.drop();
    else if (!isMoved && event.type === "pointerup") on.tap(start);
    painted.ask();
  };
  canvas.addEventListener("pointerup", end);
  canvas.addEventListener("pointercancel", end);
  const zoom = (factor) => {
    if (view === null) return;
    const { width_px, height_px } = readRoom(canvas);
    const [x, y] = [width_px / 2, height_px / 2];
    isFitted = false;
    view = { px_per_m: view.px_per_m * factor, left_px: x + (view.left_px - x) * factor, top_px: y + (view.top_px - y) * factor };
    painted.ask();
  };
  const showAll = () => {
    isFitted = true;
    view = null;
    painted.ask();
  };
  const button = (text, label, onclick) => element("button", { type: "button", onclick, "aria-label": label }, text);
  const buttons = element("div", { class: "button-line" }, button("+", say("site.larger"), () => zoom(1.5)), button("−", say("site.smaller"), () => zoom(1 / 1.5)), button(say("site.all"), say("site.show_all"), showAll));
  return { root: element("div", { class: "shape-drawing" }, canvas, buttons), ask: painted.ask, showAll };
}
