// Two jobs drawn beside each other at one place and scale, and the table of their difference.

import { heightFor, shareView, shiftJob, tabulateBeside } from "../core/beside.js";
import { wholeDose } from "../core/dose.js";
import { say } from "../core/say.js";
import { keepPainted, readRoom } from "./canvas.js";
import { element, option } from "./element.js";
import { Grain } from "./grain.js";
import { DoseImage, paintLawn } from "./lawn.js";

const MARGIN_PX = 30;
const HEIGHTS_PX = [220, 560];
const SOME_SWATH_M = 1; // for strokes of a review that does not tell the swath

function sceneOf({ dose, track }, shift_m, zones, set) {
  const moved = shiftJob({ dose: wholeDose(dose), track }, shift_m);
  const { target_l_per_m2 } = dose;
  const grain = new Grain({ ...moved, target_l_per_m2, swath_m: dose.swath_m ?? SOME_SWATH_M });
  return { ...moved, zones, target_l_per_m2, set, image: new DoseImage(), grain };
}

function makeDrawing(scenes, place, words) {
  const canvas = element("canvas", { class: "lawn-drawing beside-drawing", role: "img", "aria-label": words });
  keepPainted(canvas, (context, width_px, height_px, ink) => {
    const wanted_px = `${heightFor(scenes, width_px, MARGIN_PX, HEIGHTS_PX) * readRoom(canvas).growth}px`;
    if (canvas.style.height !== wanted_px) canvas.style.height = wanted_px; // drawn again at its height
    else paintLawn(context, width_px, height_px, ink, { ...scenes[place], view: shareView(scenes, width_px, height_px, MARGIN_PX) });
  });
  return canvas;
}

/** Both lawns; `parts` are the two jobs' dose and track, the first job's zones. */
export function makeLawns(found, parts, zones, set) {
  const scenes = parts.map((part, place) => sceneOf(part, place === 0 ? [0, 0] : found.shift_m, zones, set));
  return element("div", { class: "beside-lawns" }, ...found.jobs.map(({ job, name }, place) => element("figure", {},
    element("figcaption", {}, element("a", { class: "place", href: `#got/${job}` }, name)),
    makeDrawing(scenes, place, say("beside.drawing", { name })))));
}

/** The table: one column a job, one for both together. */
export function makeDifference(found, set) {
  const heads = ["", ...found.jobs.map(({ name }) => name), say("beside.both")];
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("beside.table") }, element("table", { class: "beside-table" },
    element("thead", {}, element("tr", {}, ...heads.map((head) => (head === "" ? element("td") : element("th", { scope: "col" }, head))))),
    element("tbody", {}, ...tabulateBeside(found, set).map(([name, ...cells]) => element("tr", {}, element("th", { scope: "row" }, name),
      ...cells.map((cell) => element("td", {}, cell)))))));
}

/** A choice of another finished job to lay beside the one shown; nothing where there is none. */
export function makeBesideChoice(jobs, chosen) {
  const others = jobs.filter(({ id, state }) => id !== chosen && state === "finished");
  if (chosen === null || others.length === 0 || !jobs.some(({ id, state }) => id === chosen && state === "finished")) return [];
  const select = element("select", { id: "beside-choice" }, option("", say("beside.choose_none"), true),
    ...others.map(({ id, name }) => option(String(id), name, false)));
  select.addEventListener("change", () => {
    if (select.value !== "") location.hash = `#got/${chosen}+${select.value}`;
  });
  return [element("p", { class: "beside-choice" }, element("label", { for: "beside-choice" }, say("beside.choose")), select)];
}
