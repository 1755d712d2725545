// Where the history comes from: each source in a line, imports with a button that asks twice before it removes them.

import { describeSource } from "../core/past.js";
import { element, setText } from "./element.js";
import { say } from "../core/say.js";

const ASK_AGAIN_MS = 5000;

function makeRemoval(source, remove) {
  let askedAt_ms = -Infinity;
  const count = source.blocks.toLocaleString("en").replaceAll(",", "\u202f");
  const button = element("button", { type: "button" }, say("air.remove"));
  button.setAttribute("aria-label", say("air.remove_named", { name: source.name }));
  button.addEventListener("click", () => {
    if (performance.now() - askedAt_ms < ASK_AGAIN_MS) {
      remove();
      return;
    }
    askedAt_ms = performance.now();
    const asked = say("air.press_again", { n: source.blocks, count });
    setText(button, asked);
    button.setAttribute("aria-label", say("air.press_again_of", { asked, name: source.name }));
    setTimeout(() => {
      setText(button, say("air.remove"));
      button.setAttribute("aria-label", say("air.remove_named", { name: source.name }));
    }, ASK_AGAIN_MS);
  });
  return button;
}

/** The list; `remove(source)` is called once it was asked for twice. */
export function makeShelves(sources, set, remove) {
  if (sources.length === 0) return element("p", {}, say("air.nothing_yet"));
  return element("ul", { class: "shelves" }, ...sources.map((source) => element("li", {},
    element("span", {}, describeSource(source, set)),
    source.kind === "import" ? makeRemoval(source, () => remove(source)) : element("span", { class: "small" }, say("air.rig_stays")))));
}
