// The legend of the dose: the scale about the target, with figures, and the textures in words.

import { say } from "../core/say.js";
import { formatQuantity } from "../core/format.js";
import { LEAST_SHARE, TOP_SHARE, makeRamp, stepOfShare } from "../core/scale.js";
import { keepPainted, makeHatch } from "./canvas.js";
import { element } from "./element.js";

const TEXTURES = { missed: say("drawn.missed"), doubled: say("drawn.doubled"), off_target: say("drawn.off_target"), keep_out: say("drawn.keep_out"),
  gap: say("drawn.gap"), unsure: say("drawn.unsure") };

function paintRamp(context, width_px, height_px, ink, { under_fraction, over_fraction }) {
  const ramp = makeRamp(ink.scheme);
  for (let x = 0; x < width_px; x += 1) {
    const share = (x / width_px) * TOP_SHARE;
    const step = 3 * stepOfShare(share);
    context.fillStyle = share < LEAST_SHARE ? ink.lawn : `rgb(${ramp[step]},${ramp[step + 1]},${ramp[step + 2]})`;
    context.fillRect(x, 0, 1.5, height_px);
  }
  context.fillStyle = ink.ink;
  for (const share of [under_fraction, over_fraction]) context.fillRect((width_px * share) / TOP_SHARE - 1, 0, 2, height_px);
  context.strokeStyle = ink.ink;
  context.strokeRect(0.5, 0.5, width_px - 1, height_px - 1);
}

function makeSwatch(kind) {
  const canvas = element("canvas", { class: "swatch", "aria-hidden": "true" });
  keepPainted(canvas, (context, width_px, height_px, ink) => {
    context.fillStyle = makeHatch(context, kind, ink.ink);
    context.fillRect(0, 0, width_px, height_px);
    context.strokeStyle = ink.ink;
    context.strokeRect(0.5, 0.5, width_px - 1, height_px - 1);
  });
  return canvas;
}

/** The legend for a target, its bounds and the user's units. */
export function makeLegend({ target_l_per_m2, under_fraction = 0.9, over_fraction = 1.1 }, set, kinds = ["missed", "doubled"]) {
  const bar = element("canvas", { class: "ramp", "aria-hidden": "true" });
  keepPainted(bar, (context, width_px, height_px, ink) => paintRamp(context, width_px, height_px, ink, { under_fraction, over_fraction }));
  const at = (share) => formatQuantity(share * target_l_per_m2, "rate", set);
  return element("div", { class: "legend" },
    bar,
    element("div", { class: "ramp-words" }, element("span", {}, "0"), element("span", {}, say("drawn.target", { rate: at(1) })), element("span", {}, at(TOP_SHARE))),
    element("p", { class: "small" }, say("drawn.colours", { low: at(under_fraction), high: at(over_fraction) })),
    element("ul", { class: "textures" }, ...kinds.map((kind) => element("li", {}, makeSwatch(kind), TEXTURES[kind]))));
}
