// Reasons as a list: a gate, what it is about, what is so, and what to do about it.

import { say } from "../core/say.js";
import { element } from "./element.js";
import { drawGate } from "./gate.js";

function drawReason({ state, name, text, todo, href }) {
  const words = href === "" ? todo : element("a", { class: "place", href }, todo);
  return element("li", { "data-state": state }, drawGate(state),
    element("div", {}, element("strong", {}, name), element("span", { class: "unseen" }, ` (${say(`reason.state_${state}`)})`), " ",
      element("span", { class: "so" }, text), todo === "" ? null : element("p", { class: "todo" }, words)));
}

/** A list of reasons that is made anew only where one of them is another; `show(reasons)` tells whether there is any. */
export function makeReasons(className) {
  const list = element("ul", { class: `reasons ${className}` });
  let shown = "";
  return { list, show: (reasons) => {
    const text = JSON.stringify(reasons.map(({ state, key, text: so, todo }) => [state, key, so, todo]));
    if (text !== shown) list.replaceChildren(...reasons.map(drawReason));
    shown = text;
    return reasons.length > 0;
  } };
}
