// Where it went: the lawn from above with its dose as grain and colour, the legend, and how sharp the picture can be.

import { say } from "../core/say.js";
import { cutTrack, positionAt } from "../core/playback.js";
import { passNear, wayOfPass } from "../core/passway.js";
import { keepPainted, placeOn, readRoom } from "./canvas.js";
import { chooseByKeys } from "./chosen.js";
import { element } from "./element.js";
import { Grain, makeBlur, makeGrainLegend } from "./grain.js";
import { DoseImage, paintLawn, viewOf } from "./lawn.js";
import { makeLegend } from "./legend.js";
import { makePlayback } from "./playback.js";

const SOME_SWATH_M = 1; // for strokes of a review that does not tell the swath

const REACH_PX = 28; // how far from a way a finger may be

const NO_DOSE = { nx: 0, ny: 0, l_per_m2: [] };

/** A scene as it was at a moment: strokes and way until then, the rig, and no colour, for that is of the whole job. */
function sceneAt(scene, t) {
  if (t === null) return scene;
  return { ...scene, dose: NO_DOSE, findings: [], track: cutTrack(scene.track, t), position: positionAt(scene.track, t), until_s: t };
}

/** The part of the report; `choice` is the pass that is looked at everywhere, `playhead` the moment. */
export function makeDoseMap(found, set, choice, playhead) {
  const { dose } = found;
  const image = new DoseImage();
  const { target_l_per_m2 } = found.dose;
  const swath_m = found.dose.swath_m ?? found.touchup?.swath_m ?? null;
  const grain = new Grain({ dose, track: found.track, target_l_per_m2, swath_m: swath_m ?? SOME_SWATH_M });
  const canvas = element("canvas", { class: "lawn-drawing", role: "img",
    "aria-label": say("drawn.map") });
  const scene = { zones: found.zones, dose, track: found.track, findings: found.findings, target_l_per_m2, set, image, grain };
  const lookedWay = () => found.passes.filter(({ pass }) => pass === choice.pass).flatMap((pass) => wayOfPass(pass, found.track));
  const painted = keepPainted(canvas, (context, width_px, height_px, ink) => paintLawn(context, width_px, height_px, ink, {
    ...sceneAt(scene, playhead.t), view: viewOf(scene, width_px, height_px), looked: lookedWay() }));
  playhead.addEventListener("change", painted.ask);
  choice.addEventListener("change", painted.ask);
  canvas.addEventListener("click", (event) => {
    const { width_px, height_px } = readRoom(canvas);
    const view = viewOf(scene, width_px, height_px);
    if (view === null) return;
    const [x_px, y_px] = placeOn(canvas, event);
    const place = [(x_px - view.left_px) / view.px_per_m, (view.top_px - y_px) / view.px_per_m];
    const pass = passNear(found.passes, found.track, place, Math.max(REACH_PX / view.px_per_m, (swath_m ?? SOME_SWATH_M) / 2));
    if (pass !== null) choice.take(pass);
  });
  chooseByKeys(canvas, choice);
  return [canvas, playhead.to_s > playhead.from_s ? makePlayback(found, playhead, set) : null, makeGrainLegend(), makeLegend(found.dose, set, ["off_target", "keep_out"]),
    swath_m === null ? null : makeBlur({ swath_m, track_sd_m: found.review.track_sd_m ?? NaN }, set)].filter((each) => each !== null);
}
