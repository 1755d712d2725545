// A canvas that fits its box, the letters round it and the screen's pixels, and draws at most once a frame.

import { growthOf, schemeOf } from "../core/looks.js";

/** A drawing's width and height in its own points, and how many of the page's one of them is: larger with large letters. */
export function readRoom(canvas) {
  const letter_px = parseFloat(getComputedStyle(document.documentElement).fontSize);
  const growth = growthOf(letter_px, canvas.clientWidth);
  return { width_px: canvas.clientWidth / growth, height_px: canvas.clientHeight / growth, growth };
}

/** Where on a drawing something was pressed, in its own points. */
export function placeOn(canvas, { clientX, clientY }) {
  const box = canvas.getBoundingClientRect();
  const { growth } = readRoom(canvas);
  return [(clientX - box.left - canvas.clientLeft) / growth, (clientY - box.top - canvas.clientTop) / growth];
}

const PAPER = { paper: "#ffffff", lawn: "#ffffff", ink: "#000000", soft: "#222222", rule: "#999999", trail: "#444444", scheme: "light" };
const kept = new Set(); // how the drawings of the page are drawn

/** The browser asks for the sheets before it lays them out: all is drawn at once, in ink and no wider than a sheet. */
function drawForPaper() {
  document.body.dataset.paper = "yes";
  for (const { canvas, draw } of kept) {
    const height_px = canvas.clientHeight;
    draw();
    if (canvas.clientHeight !== height_px) draw(); // it has chosen another height by its width
  }
}

function drawForScreen() {
  delete document.body.dataset.paper;
  for (const { ask } of kept) ask();
}

let isHeeding = false;

/** From the first drawing on: these modules are read under node --test too, where there is nothing to print. */
function heedPaper() {
  if (isHeeding) return;
  isHeeding = true;
  addEventListener("beforeprint", drawForPaper);
  addEventListener("afterprint", drawForScreen);
}

/** The colours of the page as the stylesheet has them now; black on white where it is printed. */
export function readInk(canvas) {
  const style = getComputedStyle(canvas);
  if (document.body.dataset.paper || matchMedia("print").matches) return { ...PAPER, font: style.fontFamily };
  const read = (name) => style.getPropertyValue(name).trim();
  return {
    paper: read("--paper"), lawn: read("--lawn"), ink: read("--ink"), soft: read("--soft"), rule: read("--rule"),
    trail: read("--trail"), font: style.fontFamily,
    scheme: schemeOf(document.documentElement.dataset.light, matchMedia("(prefers-color-scheme: dark)").matches),
  };
}

const SLICE_MS = 12; // a frame paints until so long has gone; what is left waits for the next, so that hands are heard between
const waiting = new Set();
let isScheduled = false;

function schedule() {
  if (isScheduled || waiting.size === 0) return;
  isScheduled = true;
  requestAnimationFrame(paintWaiting);
}

function paintWaiting() {
  const begun_ms = performance.now();
  isScheduled = false;
  try {
    for (const draw of [...waiting]) {
      waiting.delete(draw);
      draw();
      if (performance.now() - begun_ms > SLICE_MS) break;
    }
  } finally {
    schedule(); // whatever one drawing does, those behind it are drawn
  }
}

/** Have something drawn in the next frame that has time for it, in the order in which it was asked for. */
function askFrame(draw) {
  waiting.add(draw);
  schedule();
}

/** Call `paint(context, width_px, height_px, ink)` whenever asked, resized or the looks change; returns how to ask. */
export function keepPainted(canvas, paint) {
  let wasShown = false;
  const draw = () => {
    if (wasShown && !canvas.isConnected) {
      stop(); // the page has thrown it away
      return;
    }
    wasShown = canvas.isConnected;
    const { width_px, height_px, growth } = readRoom(canvas);
    if (width_px === 0 || height_px === 0) return;
    const ratio = growth * (devicePixelRatio || 1);
    if (canvas.width !== Math.round(width_px * ratio)) canvas.width = Math.round(width_px * ratio);
    if (canvas.height !== Math.round(height_px * ratio)) canvas.height = Math.round(height_px * ratio);
    const context = canvas.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width_px, height_px);
    paint(context, width_px, height_px, readInk(canvas));
  };
  const ask = () => askFrame(draw);
  const observer = new ResizeObserver(ask);
  observer.observe(canvas);
  const light = matchMedia("(prefers-color-scheme: dark)");
  const printed = matchMedia("print");
  for (const each of [light, printed]) each.addEventListener("change", ask);
  heedPaper();
  document.addEventListener("looks", ask);
  const mine = { canvas, draw, ask };
  kept.add(mine);
  function stop() {
    waiting.delete(draw);
    observer.disconnect();
    for (const each of [light, printed]) each.removeEventListener("change", ask);
    document.removeEventListener("looks", ask);
    kept.delete(mine);
  }
  ask();
  return { ask, stop };
}

const STROKES = {
  missed: [[2, 0, 2, 8]],
  gap: [[2, 0, 2, 8]],
  doubled: [[0, 8, 8, 0], [0, 0, 8, 8]],
  off_target: [[0, 8, 8, 0]],
  keep_out: [[0, 0, 8, 8]],
  unsure: [[0.5, 2, 3.5, 2], [4.5, 6, 7.5, 6]],
};

const tiles = new Map(); // one of each kind and colour for good: a large lawn asks for hundreds

function makeTile(kind, colour) {
  const tile = document.createElement("canvas");
  tile.width = 8;
  tile.height = 8;
  const pen = tile.getContext("2d");
  pen.strokeStyle = colour;
  pen.lineWidth = 1.2;
  for (const [x0, y0, x1, y1] of STROKES[kind] ?? STROKES.off_target) {
    pen.beginPath();
    pen.moveTo(x0, y0);
    pen.lineTo(x1, y1);
    pen.stroke();
  }
  return tile;
}

/** A texture for a kind of finding, drawn here: upright lines missed, crossed lines doubled, slants off the lawn,
 * short dashes where it cannot be told. */
export function makeHatch(context, kind, colour) {
  const name = `${kind} ${colour}`;
  if (!tiles.has(name)) tiles.set(name, makeTile(kind, colour));
  return context.createPattern(tiles.get(name), "repeat");
}
