// Where it went: the lawn from above with its dose as grain and colour, the legend, and how sharp the picture can be.

import { wholeDose } from "../core/dose.js";
import { keepPainted } from "./canvas.js";
import { element } from "./element.js";
import { Grain, makeBlur, makeGrainLegend } from "./grain.js";
import { DoseImage, paintLawn } from "./lawn.js";
import { makeLegend } from "./legend.js";

const SOME_SWATH_M = 1; // for strokes of a review that does not tell the swath

/** The part of the report. */
export function makeDoseMap(found, set) {
  const dose = wholeDose(found.dose);
  const image = new DoseImage();
  const { target_l_per_m2 } = found.dose;
  const swath_m = found.dose.swath_m ?? found.touchup?.swath_m ?? null;
  const grain = new Grain({ dose, track: found.track, target_l_per_m2, swath_m: swath_m ?? SOME_SWATH_M });
  const canvas = element("canvas", { class: "lawn-drawing", role: "img",
    "aria-label": "Drawing of the dose on the lawn, north up; the totals and findings say the same in words" });
  keepPainted(canvas, (context, width_px, height_px, ink) => paintLawn(context, width_px, height_px, ink, {
    zones: found.zones, dose, track: found.track, findings: found.findings, target_l_per_m2, set, image, grain }));
  return [canvas, makeGrainLegend(), makeLegend(found.dose, set, ["off_target", "keep_out"]),
    swath_m === null ? null : makeBlur({ swath_m, track_sd_m: found.review.track_sd_m ?? NaN }, set)].filter((each) => each !== null);
}
