// What to mend after a job: the list to walk by, drawn and in words, and a sheet of it to take outside.

import { say } from "../core/say.js";
import { describeAlone, describeLook, describeMix, describeRepeat, describeRest, describeThin, groupLooks, shorten, summariseMend } from "../core/mend.js";
import { formatNumber } from "../core/format.js";
import { describeMost, describePace, describePlace, paceOf } from "../core/mendsheet.js";
import { convert, revert, unitOf } from "../core/units.js";
import { keepPainted } from "./canvas.js";
import { element, setText } from "./element.js";
import { DoseImage, paintLawn } from "./lawn.js";

const EMPTY_DOSE = { nx: 0, ny: 0, l_per_m2: [] };

/** A list; `isTicked` puts a box on paper before each item. */
function makeItems(tag, found, isTicked = false) {
  return element(tag, { class: "findings" }, ...found.map(({ head, text }) => element("li", {},
    isTicked ? element("span", { class: "tick-box", "aria-hidden": "true" }) : null, element("strong", {}, head), `: ${text}`)));
}

/** The strips to walk, each with its place by a tape. */
function makeWalk(repeats, { zones, passes }, set) {
  const pace_mps = paceOf(passes);
  const items = repeats.map((each) => {
    const { head, text } = describeRepeat(each, set);
    return { head, text: `${text} ${describePlace(each, zones, pace_mps, set)}`.trimEnd() };
  });
  return [makeItems("ol", items, true), element("p", {}, describePace(pace_mps, set))];
}

function makeGroup(title, tag, found, { count, isTicked = false } = {}) {
  if (found.length === 0) return [];
  const { shown, more } = shorten(found, count);
  return [element("h3", {}, title), makeItems(tag, shown, isTicked),
    more > 0 ? element("p", { class: "small" }, say("mend.more", { more })) : null];
}

function makeDrawing(plan, { zones, track }, set) {
  const image = new DoseImage();
  const canvas = element("canvas", { class: "lawn-drawing mend-drawing", role: "img",
    "aria-label": say("mend.drawing") });
  keepPainted(canvas, (context, width_px, height_px, ink) => paintLawn(context, width_px, height_px, ink, {
    zones, dose: EMPTY_DOSE, track, set, image, target_l_per_m2: plan.target_l_per_m2, mend: plan }));
  return canvas;
}

function makeMix(plan, set, ask) {
  if (!(plan.mix.need_l > 0)) return null;
  const said = element("p", { role: "status" }, describeMix(plan.mix, set));
  const input = element("input", { id: "tank-left", type: "text", inputmode: "decimal", autocomplete: "off" });
  if (plan.mix.from_tank_l > 0) input.value = formatNumber(convert(plan.mix.from_tank_l + plan.mix.left_l, "volume", set));
  const look = async () => {
    const number = Number(input.value.trim().replace(",", "."));
    const left_l = revert(number, "volume", set);
    if (!(left_l >= 0 && left_l <= 2000)) {
      setText(said, say("mend.no_volume"));
      return;
    }
    try {
      setText(said, describeMix((await ask(left_l)).mix, set));
    } catch (problem) {
      setText(said, problem.message);
    }
  };
  input.addEventListener("change", look);
  return element("div", { class: "mix" }, element("label", { for: "tank-left" }, say("mend.left", { unit: unitOf("volume", set) })), input, said);
}

function printPart() {
  document.body.dataset.print = "mend";
  addEventListener("afterprint", () => delete document.body.dataset.print, { once: true });
  print();
}

/** The part of the report; `ask(left_l)` asks for the plan with so much left in the tank. */
export function makeMend(plan, found, { set, ask }) {
  const { repeats, alone, looks, thin, label } = plan;
  const hasPlaces = repeats.length + alone.length + looks.length > 0;
  const rest = describeRest(plan, set);
  return [
    element("p", {}, summariseMend(plan, set)),
    hasPlaces ? makeDrawing(plan, found, set) : null,
    hasPlaces ? element("p", { class: "small" }, say("mend.key")) : null,
    ...(repeats.length > 0 ? makeWalk(repeats, found, set) : []),
    makeMix(plan, set, ask),
    repeats.length + looks.length > 0 ? element("p", { class: "caution" }, say("mend.look_first"), " ", describeMost(label)) : null,
    ...makeGroup(say("mend.alone"), "ul", alone.map((each) => describeAlone(each, label, set))),
    alone.length > 0 && label.most_times === null
      ? element("p", { class: "small" }, say("mend.label_unknown")) : null,
    ...makeGroup(say("mend.thin"), "ul", describeThin(thin, plan.pass_l_per_m2)),
    ...makeGroup(say("mend.looks"), "ul", groupLooks(plan).map((each) => describeLook(each, set)), { isTicked: true }),
    rest === "" ? null : element("p", {}, rest),
    hasPlaces ? element("button", { type: "button", onclick: printPart }, say("mend.print")) : null,
  ].filter((each) => each !== null);
}
