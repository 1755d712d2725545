// The pass that is looked at: in one line at the foot of the screen with the ones before and after it, and by key on each drawing.

import { say } from "../core/say.js";
import { describePass } from "../core/passway.js";
import { element, setText } from "./element.js";

const STEPS = { ArrowLeft: -1, ArrowRight: 1 };

/** Let the arrows choose a pass on a drawing, as the bar's buttons do, and Escape none; to a reader of the screen it is a slider. */
export function chooseByKeys(canvas, choice) {
  if (choice.count === 0) return;
  const label = canvas.getAttribute("aria-label").replace(/\.?$/, ".");
  const fixed = { tabindex: "0", role: "slider", "aria-label": say("got.by_keys", { drawing: label }), "aria-valuemin": "0", "aria-valuemax": String(choice.count) };
  for (const [name, value] of Object.entries(fixed)) canvas.setAttribute(name, value);
  const show = () => {
    canvas.setAttribute("aria-valuenow", String(choice.place));
    canvas.setAttribute("aria-valuetext", choice.pass === null ? say("got.no_pass_chosen") : say("got.pass_of", { pass: choice.pass, count: choice.count }));
  };
  canvas.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return; // the browser's own
    if (Object.hasOwn(STEPS, event.key)) choice.step(STEPS[event.key]);
    else if (event.key === "Escape") choice.take(null);
    else return;
    event.preventDefault();
  });
  choice.addEventListener("change", show);
  show();
}

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
