// The passes where they truly lay, and what is doubtful between them: patterns, and words beside them.

import { say } from "../core/say.js";
import { project } from "../core/geometry.js";
import { Room } from "../core/labels.js";
import { makeHatch } from "./canvas.js";

const LEAST_PX = 9; // a band that is narrower shows no pattern
const WORDS = { gap: say("drawn.word_gap"), doubled: say("drawn.word_doubled"), unsure: say("drawn.word_unsure") };
const GRAVITY = ["unsure", "doubled", "gap"];

function traceLine(context, view, line_m) {
  context.beginPath();
  line_m.forEach(([east_m, north_m], place) => {
    const [x, y] = project(view, east_m, north_m);
    if (place === 0) context.moveTo(x, y);
    else context.lineTo(x, y);
  });
}

function drawBand(context, view, pair, ink) {
  const width_px = Math.max(LEAST_PX, pair.width_m * view.px_per_m);
  traceLine(context, view, pair.line_m);
  context.lineCap = "butt";
  if (pair.verdict !== "unsure") {
    context.lineWidth = width_px + 3;
    context.strokeStyle = ink.ink;
    context.stroke();
  }
  context.lineWidth = width_px;
  context.globalAlpha = pair.verdict === "unsure" ? 0.6 : 1;
  context.strokeStyle = ink.paper;
  context.stroke();
  context.globalAlpha = 1;
  context.strokeStyle = makeHatch(context, pair.verdict, ink.ink);
  context.stroke();
}

/** Draw the bands first, so that ways and the rig lie on top. */
export function drawStrips(context, view, strips, ink) {
  const doubtful = strips.pairs.filter(({ verdict }) => Object.hasOwn(WORDS, verdict));
  doubtful.sort((a, b) => GRAVITY.indexOf(a.verdict) - GRAVITY.indexOf(b.verdict));
  for (const pair of doubtful) drawBand(context, view, pair, ink);
  context.setLineDash([]);
  for (const { line_m } of strips.passes) {
    traceLine(context, view, line_m);
    context.lineWidth = 1.5;
    context.strokeStyle = ink.trail;
    context.stroke();
  }
}

class Labels {
  #room = new Room();
  #context;
  #ink;

  constructor(context, ink) {
    this.#context = context;
    this.#ink = ink;
  }

  /** Write a word about a point unless another one is there; tells whether it could. */
  put(text, x, y, size_px) {
    const context = this.#context;
    context.font = `bold ${size_px}px ${this.#ink.font}`;
    const found = this.#room.take([[x, y]], context.measureText(text).width + 6, size_px * 1.3);
    if (found === null) return false;
    const { left, right, top, bottom } = found.box;
    context.fillStyle = this.#ink.paper;
    context.fillRect(left, top, right - left, bottom - top);
    context.fillStyle = this.#ink.ink;
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.fillText(text, x, y);
    context.textBaseline = "alphabetic";
    return true;
  }
}

/** Write the words and the strips' numbers where there is room, the gravest and the newest first. */
export function labelStrips(context, view, strips, ink) {
  const labels = new Labels(context, ink);
  const newestFirst = [...strips.pairs].reverse();
  for (const verdict of ["gap", "doubled", "unsure"]) {
    for (const pair of newestFirst.filter((each) => each.verdict === verdict)) {
      const [x, y] = project(view, ...middleOf(pair.line_m));
      const isPut = labels.put(WORDS[verdict], x, y, 15);
      if (verdict === "unsure" && isPut) break; // one word for all: the pattern is in the legend
    }
  }
  for (const { pass, line_m } of [...strips.passes].reverse()) {
    if (line_m.length === 0) continue;
    const [x, y] = project(view, ...line_m[0]);
    labels.put(String(pass), x, y, 13);
  }
}

function middleOf(line_m) {
  const [start, end] = [line_m[Math.floor((line_m.length - 1) / 2)], line_m[Math.ceil((line_m.length - 1) / 2)]];
  return line_m.length > 2 && start === end ? start : [(start[0] + end[0]) / 2, (start[1] + end[1]) / 2];
}
