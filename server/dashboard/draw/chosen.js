// The pass that is looked at, in one line at the foot of the screen, with the ones before and after it.

import { say } from "../core/say.js";
import { describePass } from "../core/passway.js";
import { element, setText } from "./element.js";

/** The bar; it shows itself only while a pass is chosen. */
export function makeChosenBar(choice, passes, set) {
  const head = element("strong", {});
  const words = element("span", {});
  const before = element("button", { type: "button", "aria-label": say("got.pass_before"), onclick: () => choice.step(-1) }, "‹");
  const after = element("button", { type: "button", "aria-label": say("got.pass_after"), onclick: () => choice.step(1) }, "›");
  const close = element("button", { type: "button", "aria-label": say("got.pass_none"), onclick: () => choice.take(choice.pass) }, "×");
  const bar = element("div", { class: "chosen-bar", role: "group", "aria-label": say("got.pass_looked") },
    before, element("p", { role: "status" }, head, " ", words), after, close);
  const show = () => {
    bar.classList.toggle("is-shown", choice.pass !== null);
    const pass = passes.find((each) => each.pass === choice.pass);
    setText(head, pass ? say("got.pass_of", { pass: pass.pass, count: passes.length }) : "");
    setText(words, pass ? describePass(pass, set) : "");
    // Not switched off: a button that loses its focus while it is pressed would send the keyboard back to the top.
    before.setAttribute("aria-disabled", String(pass === passes[0]));
    after.setAttribute("aria-disabled", String(pass === passes.at(-1)));
  };
  choice.addEventListener("change", show);
  show();
  return bar;
}
