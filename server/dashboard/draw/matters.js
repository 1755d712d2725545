// Matters of the season as a list: a sign and a word for the state, the sentence, and the reasons on request.

import { say } from "../core/say.js";
import { STATES, explainMatter, partMatters } from "../core/season.js";
import { element } from "./element.js";

function makeMatter(matter, onDone) {
  const { sign, word } = STATES[matter.state];
  const why = explainMatter(matter);
  const isOpenPlan = matter.kind === "plan" && matter.state !== "later";
  return element("li", { "data-state": matter.state },
    element("p", {}, element("span", { class: "mark", "aria-hidden": "true" }, sign), " ", element("strong", {}, word),
      matter.severity === "ask" && matter.state === "conflict" ? say("season.your_decision") : "", element("br"), matter.sentence),
    isOpenPlan ? element("button", { type: "button", onclick: () => onDone(matter) }, say("season.was_done")) : null,
    why.length === 0 ? null : element("details", {}, element("summary", {}, say("season.why")),
      element("dl", {}, ...why.map(([name, text]) => element("div", {}, element("dt", {}, name), element("dd", {}, text))))));
}

/** The list, with what may wait below a heading of its own; `onDone(matter)` when somebody says that a plan was done. */
export function makeMatters(matters, onDone) {
  const { first, rest } = partMatters(matters);
  const list = (of) => element("ul", { class: "matters" }, ...of.map((matter) => makeMatter(matter, onDone)));
  return [
    first.length === 0 ? element("p", {}, say("season.nothing")) : list(first),
    rest.length === 0 ? null : element("details", { class: "rest" }, element("summary", {}, say("season.rest", { count: rest.length })), list(rest)),
  ].filter(Boolean);
}
