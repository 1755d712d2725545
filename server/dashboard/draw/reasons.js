// Reasons as a list: a gate, what it is about, what is so, and what to do about it.

import { say } from "../core/say.js";
import { element, setText } from "./element.js";
import { drawGate } from "./gate.js";

function makeReason({ state, name }) {
  const so = element("span", { class: "so" });
  const link = element("a", { class: "place" });
  const advice = element("p", { class: "advice" });
  const line = element("li", { "data-state": state }, drawGate(state),
    element("div", {}, element("strong", {}, name), element("span", { class: "unseen" }, ` (${say(`reason.state_${state}`)})`), " ", so, advice));
  return { line, show: ({ text, advice: words, href }) => {
    setText(so, text);
    advice.hidden = words === "";
    if (href === "") setText(advice, words);
    else {
      if (link.parentNode !== advice) advice.replaceChildren(link);
      link.href = href;
      setText(link, words);
    }
  } };
}

/** Two complaints of the rig may be about the same. */
function nameApart(keys) {
  return keys.map((key, place) => `${key} ${keys.slice(0, place).filter((each) => each === key).length}`);
}

/** A list of reasons whose items stay where they are while their figures change; `show(reasons)` tells whether there is any. */
export function makeReasons(className) {
  const list = element("ul", { class: `reasons ${className}` });
  const made = new Map();
  let shown = "";
  return { list, show: (reasons) => {
    const keys = nameApart(reasons.map(({ state, key }) => `${key} ${state}`));
    for (const [place, key] of keys.entries()) {
      if (!made.has(key)) made.set(key, makeReason(reasons[place]));
      made.get(key).show(reasons[place]);
    }
    if (keys.join() !== shown) list.replaceChildren(...keys.map((key) => made.get(key).line));
    shown = keys.join();
    return reasons.length > 0;
  } };
}
