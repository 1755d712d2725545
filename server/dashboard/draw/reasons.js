// Reasons as a list: a gate, what it is about, what is so, and what to do about it.

import { say } from "../core/say.js";
import { element } from "./element.js";
import { drawGate } from "./gate.js";

function drawReason({ state, name, text, advice, href }) {
  const words = href === "" ? advice : element("a", { class: "place", href }, advice);
  return element("li", { "data-state": state }, drawGate(state),
    element("div", {}, element("strong", {}, name), element("span", { class: "unseen" }, ` (${say(`reason.state_${state}`)})`), " ",
      element("span", { class: "so" }, text), advice === "" ? null : element("p", { class: "advice" }, words)));
}

/** A list of reasons that is made anew only where one of them is another; `show(reasons)` tells whether there is any. */
export function makeReasons(className) {
  const list = element("ul", { class: `reasons ${className}` });
  let shown = "";
  return { list, show: (reasons) => {
    const text = JSON.stringify(reasons.map(({ state, key, text: so, advice }) => [state, key, so, advice]));
    if (text !== shown) list.replaceChildren(...reasons.map(drawReason));
    shown = text;
    return reasons.length > 0;
  } };
}
