// The pass that is looked at, in one line at the foot of the screen, with the ones before and after it.

import { describePass } from "../core/passway.js";
import { element, setText } from "./element.js";

/** The bar; it shows itself only while a pass is chosen. */
export function makeChosenBar(choice, passes, set) {
  const head = element("strong", {});
  const words = element("span", {});
  const before = element("button", { type: "button", "aria-label": "Pass before", onclick: () => choice.step(-1) }, "‹");
  const after = element("button", { type: "button", "aria-label": "Pass after", onclick: () => choice.step(1) }, "›");
  const close = element("button", { type: "button", "aria-label": "Look at no pass", onclick: () => choice.take(choice.pass) }, "×");
  const bar = element("div", { class: "chosen-bar", role: "group", "aria-label": "The pass looked at" },
    before, element("p", { role: "status" }, head, " ", words), after, close);
  const show = () => {
    bar.classList.toggle("is-shown", choice.pass !== null);
    const pass = passes.find((each) => each.pass === choice.pass);
    setText(head, pass ? `Pass ${pass.pass} of ${passes.length}` : "");
    setText(words, pass ? describePass(pass, set) : "");
    // Not switched off: a button that loses its focus while it is pressed would send the keyboard back to the top.
    before.setAttribute("aria-disabled", String(pass === passes[0]));
    after.setAttribute("aria-disabled", String(pass === passes.at(-1)));
  };
  choice.addEventListener("change", show);
  show();
  return bar;
}
