// The mix sheet: each tank as numbered steps, then how to walk; made to be read at arm's length and printed.

import { tellAfter } from "../core/aftercare.js";
import { evenOut, loadsOf, stepsOf, tellCaution, tellGround, tellPasses, tellTime, tellWalk, tellWindLimit, writeAmount } from "../core/fill.js";
import { formatQuantity } from "../core/format.js";
import { element } from "./element.js";
import { makeObjections } from "./objections.js";
import { say } from "../core/say.js";

function makeStep({ what, figure, remark }) {
  return element("li", { class: "step" }, element("span", { class: "step-what" }, what), element("strong", { class: "figure" }, figure),
    element("span", { class: "remark" }, remark));
}

/** One filling as a list of steps; `onFill(load, number)` where a button is to say that it was filled so, `done` the tanks that were. */
export function makeLoad({ title, load, numbers }, set, onFill = null, done = []) {
  const next = numbers.find((number) => !done.includes(number));
  const noted = numbers.filter((number) => done.includes(number));
  const buttons = onFill === null ? [] : [
    next === undefined ? null : element("button", { type: "button", onclick: () => onFill(load, next) }, say("fill.i_filled", { number: next })),
    noted.length === 0 ? null : element("span", { class: "small" }, say("fill.noted_tanks", { numbers: noted.join(", ") }))];
  return element("section", { class: "load" }, element("h3", {}, title),
    element("p", { class: "load-sum" }, say("fill.mix_for", { amount: writeAmount(load.mix_l, set), area: formatQuantity(load.area_m2, "area", set) })),
    element("ol", { class: "steps" }, ...stepsOf(load, set).map(makeStep)), buttons.length > 0 ? element("div", { class: "button-line" }, ...buttons.filter(Boolean)) : null);
}

function makeWalk(sheet, set) {
  const walk = tellWalk(sheet, set);
  const about = [tellPasses(sheet), tellTime(sheet)].filter(Boolean).join(" ");
  if (walk === null) {
    return element("section", { class: "load" }, element("h3", {}, say("fill.how_to_walk")), element("p", {}, about),
      element("p", {}, say("fill.no_flow")));
  }
  return element("section", { class: "load" }, element("h3", {}, say("fill.how_to_walk")),
    element("p", { class: "step" }, element("span", { class: "step-what" }, walk.what), element("strong", { class: "figure" }, walk.figure),
      element("span", { class: "remark" }, walk.remark)),
    walk.verdict === "" ? null : element("p", { class: "doubt" }, walk.verdict), element("p", {}, about),
    element("p", { class: "small" }, say("fill.try_with_water")));
}

function makeCautions(sheet, set, onEven) {
  const even = evenOut(sheet);
  // What labels say is among the objections, what is too small at its step.
  const cautions = sheet.cautions.filter(({ what }) => what === "a strong mix" || what === "a small last load");
  if (cautions.length === 0) return null;
  return element("ul", { class: "objections" }, ...cautions.map((each) => element("li", { "data-severity": "ask" }, tellCaution(each, set))),
    even === null ? null : element("li", {}, element("button", { type: "button", onclick: () => onEven() },
      say("fill.better_even", { count: even.count, amount: writeAmount(even.each_l, set) }))));
}

/** The whole sheet; `onFill(load, number)` notes a fill, `done` are the tanks noted, `onEven()` fills all alike. */
export function makeSheet(sheet, set, { onFill, done, onEven }) {
  const licence = sheet.products.some(({ is_licence_needed }) => is_licence_needed) ? ` ${say("fill.licence")}` : "";
  const asked = sheet.objections.filter(({ severity }) => severity !== "tell");
  const told = sheet.objections.filter(({ severity, key }) => severity === "tell" && key !== "licence"); // that is said above
  return element("article", { class: "sheet", "aria-label": say("fill.mix_sheet") },
    element("h2", {}, `${sheet.treatment}, ${sheet.site}`),
    element("p", {}, say("fill.head", { ground: tellGround(sheet, set), rate: sheet.target_stated, sprayer: sheet.sprayer, day: sheet.day })),
    element("p", {}, ...sheet.products.flatMap(({ name, rate_stated, registration }, place) => [place ? "; " : "", `${name} ${rate_stated}${registration ? ` ${say("fill.registration", { number: registration })}` : ""}`])),
    element("p", {}, element("strong", {}, `${say("fill.label_first")}${licence} `), tellWindLimit(sheet.wind, set)),
    asked.length > 0 ? makeObjections(asked) : null,
    makeCautions(sheet, set, onEven),
    element("div", { class: "loads" }, ...loadsOf(sheet).map((each) => makeLoad(each, set, onFill, done)), makeWalk(sheet, set)),
    told.length > 0 ? makeObjections(told) : null,
    element("p", {}, tellAfter(sheet)),
    element("p", { class: "small" }, `${say("fill.in_all", { amount: writeAmount(sheet.total.mix_l, set) })} ${sheet.left_over_l > 0
      ? say("fill.to_spare", { amount: writeAmount(sheet.left_over_l, set) }) : say("fill.nothing_left")}`));
}
