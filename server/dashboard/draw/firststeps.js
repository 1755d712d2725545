// The steps of the first time as a list: footprints, what to do at the one that is due, what was seen at those that are done.

import { say } from "../core/say.js";
import { element, setText } from "./element.js";
import { drawFootmark } from "./footmark.js";

function makeStep(key, place, body, onLeave) {
  const name = element("strong");
  const state = element("span", { class: "unseen" });
  const seen = element("p", { class: "seen" });
  const advice = element("p", { class: "advice" });
  const leave = element("button", { type: "button", onclick: () => onLeave(key) }, say("first.leave"));
  const line = element("li", { tabindex: "-1" }, drawFootmark(place), element("div", {}, element("h2", {}, name, state), advice, seen, body, leave));
  return { line, show: (step) => {
    line.dataset.state = step.state;
    if (step.state === "now") line.setAttribute("aria-current", "step");
    else line.removeAttribute("aria-current");
    setText(name, step.name);
    setText(state, ` (${say(`first.state_${step.state}`)})`);
    setText(advice, step.advice);
    advice.hidden = step.state !== "now";
    setText(seen, step.seen);
    seen.hidden = step.seen === "";
    leave.hidden = step.state !== "now" || !step.isOptional;
    if (body) body.hidden = step.state !== "now" && !(key === "laid" && step.state === "done");
  } };
}

/** The list; `bodies` are what stands within a step, `onLeave(key)` is told what is left out. */
export function makeSteps(bodies, onLeave) {
  const list = element("ol", { class: "steps", "aria-label": say("first.steps") });
  const made = new Map();
  const focus = () => list.querySelector("[aria-current]")?.focus();
  return { list, focus, show: (steps) => steps.forEach((step, place) => {
    if (!made.has(step.key)) {
      made.set(step.key, makeStep(step.key, place, bodies[step.key] ?? null, onLeave));
      list.append(made.get(step.key).line);
    }
    made.get(step.key).show(step);
  }) };
}
