// The strip underfoot: it runs up the screen, the one beside it at its spacing, edges frayed by what is not known.

import { describeDry, isNear, placeAhead } from "../core/dry.js";
import { say } from "../core/say.js";
import { describeUnderfoot, faceAfter, frayOf, lookDown } from "../core/underfoot.js";
import { keepPainted } from "./canvas.js";
import { paintDryAhead } from "./dry.js";
import { element, setText } from "./element.js";

const SWATHS_SEEN = 3.4;
const FOOT = 0.7; // how far down the walker stands
const AHEAD_SEEN_M = 4;
const ROW_PX = 5;
const BLADE_PX = 6;
const TURN_MS = 500;

/** A strip that was sprayed before, in rows across: each row ends where chance puts it within what is not known. */
function paintBeside(context, scale, { points }, view, ink) {
  const half_m = view.swath_m / 2;
  const sd_m = view.spacing_sd_m ?? half_m;
  const row_m = ROW_PX / scale.along_px_per_m;
  context.strokeStyle = ink.trail;
  context.lineWidth = 2;
  context.beginPath();
  for (let place = 1; place < points.length; place += 1) {
    const [[across_a, along_a], [across_b, along_b]] = [points[place - 1], points[place]];
    if (along_b - along_a > 0.6) continue; // nothing is known between
    const first = Math.ceil((view.walked_m + along_a) / row_m);
    for (let row = first; row * row_m < view.walked_m + along_b; row += 1) {
      const along_m = row * row_m - view.walked_m;
      const middle_m = across_a + ((along_m - along_a) / (along_b - along_a)) * (across_b - across_a);
      const y = scale.y(along_m);
      context.moveTo(scale.x(middle_m - half_m + sd_m * frayOf(row, 0)), y);
      context.lineTo(scale.x(middle_m + half_m + sd_m * frayOf(row, 1)), y);
    }
  }
  context.stroke();
}

/** The present strip as blades along the way: crossed with the rows where both lie, bare where neither does. */
function paintOwn(context, scale, view, ink) {
  const half_m = view.swath_m / 2;
  const blades = Math.max(2, Math.round((view.swath_m * scale.px_per_m) / BLADE_PX));
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.beginPath();
  const way = [...view.own, [0, 0, view.own.at(-1)?.[2] ?? false]];
  for (let place = 1; place < way.length; place += 1) {
    if (!way[place][2]) continue;
    for (let blade = 0; blade <= blades; blade += 1) {
      const shift_m = -half_m + (blade / blades) * view.swath_m;
      context.moveTo(scale.x(way[place - 1][0] + shift_m), scale.y(way[place - 1][1]));
      context.lineTo(scale.x(way[place][0] + shift_m), scale.y(way[place][1]));
    }
  }
  context.stroke();
}

function paintAhead(context, scale, view, ink) {
  const half_m = view.swath_m / 2;
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.setLineDash([3, 6]);
  context.beginPath();
  for (const edge_m of [-half_m, half_m]) {
    context.moveTo(scale.x(edge_m), scale.y(0));
    context.lineTo(scale.x(edge_m), 0);
  }
  context.stroke();
  context.setLineDash([]);
  context.lineWidth = 7;
  context.beginPath();
  context.moveTo(scale.x(-half_m), scale.y(0));
  context.lineTo(scale.x(half_m), scale.y(0));
  context.stroke();
}

function paintUnderfoot(context, width_px, height_px, ink, view, dry) {
  const px_per_m = width_px / (SWATHS_SEEN * view.swath_m);
  const along_px_per_m = Math.min(px_per_m, (height_px * FOOT) / AHEAD_SEEN_M); // a low picture still looks some steps ahead
  const scale = {
    px_per_m, along_px_per_m, x: (across_m) => width_px / 2 + across_m * px_per_m,
    y: (along_m) => height_px * FOOT - along_m * along_px_per_m, along: (y) => (height_px * FOOT - y) / along_px_per_m,
  };
  context.fillStyle = ink.lawn;
  context.fillRect(0, 0, width_px, height_px);
  for (const beside of view.beside) paintBeside(context, scale, beside, view, ink);
  paintOwn(context, scale, view, ink);
  if (dry !== null) paintDryAhead(context, scale, view, dry, ink);
  paintAhead(context, scale, view, ink);
}

/** The part of the page; `show()` reads the store. */
export function makeUnderfoot(store) {
  const canvas = element("canvas", { class: "underfoot-drawing", "aria-hidden": "true" });
  const words = element("p", { class: "underfoot-words" });
  const dry = element("p", { class: "dry-words" });
  let view = null;
  let facing_deg = null;
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => {
    if (view !== null) paintUnderfoot(context, width_px, height_px, ink, view, placeAhead(view, store.snapshot));
  });
  const part = element("section", { class: "underfoot", "aria-label": say("view.underfoot") }, canvas, words, dry);
  const turnOver = () => {
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) return;
    canvas.animate([{ transform: "scaleY(-1)" }, { transform: "scaleY(1)" }], TURN_MS);
  };
  const show = () => {
    const { snapshot, track, strips, units } = store;
    if (snapshot === null) return;
    const { position, receiver, swath_m } = snapshot;
    view = lookDown({ position, track, strips, swath_m, sd_m: receiver.sd_m });
    const face = faceAfter(facing_deg, view);
    facing_deg = face.facing_deg;
    if (face.isTurn) turnOver();
    canvas.hidden = view === null;
    setText(dry, describeDry(snapshot, units));
    part.classList.toggle("dry-near", isNear(snapshot));
    setText(words, describeUnderfoot(view, { hasPosition: position !== null, swath_m }, units));
    painter.ask();
  };
  return { part, show, stop: painter.stop };
}
