// Two views where there is room for one: the strip underfoot and the lawn from above, by a swipe or by buttons.

import { say } from "../core/say.js";
import { beginSwipe, emptySwipe, endSwipe, moveSwipe } from "../core/swipe.js";
import { element, setText } from "./element.js";

/** Listen for swipes on a part; `onSide` is told "left" or "right". Returns nothing: the part takes its listeners along. */
function listenForSwipes(part, onSide) {
  let swipe = emptySwipe();
  part.addEventListener("pointerdown", (event) => {
    // A mouse has the buttons, and what has a touch of its own keeps it.
    if (event.pointerType === "mouse" || event.target.closest("input, select, dialog, .glove-part")) return;
    swipe = beginSwipe(swipe, event.pointerId, event.clientX, event.clientY, event.timeStamp);
  });
  part.addEventListener("pointermove", (event) => {
    swipe = moveSwipe(swipe, event.pointerId, event.clientX, event.clientY, event.timeStamp);
  });
  part.addEventListener("pointerup", (event) => {
    const end = endSwipe(moveSwipe(swipe, event.pointerId, event.clientX, event.clientY, event.timeStamp), event.pointerId, event.timeStamp);
    swipe = end.swipe;
    if (end.side !== null) onSide(end.side);
  });
  part.addEventListener("pointercancel", (event) => {
    swipe = endSwipe({ ...swipe, to: null }, event.pointerId, event.timeStamp).swipe; // the page scrolls instead
  });
}

/** The buttons of both views, the one that is shown pressed; a swipe to the left goes on to the map, to the right back. */
export function makeViewChoice(page) {
  const said = element("span", { class: "unseen", role: "status" });
  const make = (key, isAbove) => element("button", { type: "button", onclick: () => choose(isAbove) }, say(`view.${key}`));
  const buttons = [make("underfoot", false), make("above", true)];
  const mark = (isAbove) => buttons.forEach((button, place) => button.setAttribute("aria-pressed", String((place === 1) === isAbove)));
  function choose(isAbove) {
    if (page.classList.contains("from-above") === isAbove) return;
    page.classList.toggle("from-above", isAbove);
    mark(isAbove);
    setText(said, say("view.shown", { view: buttons[isAbove ? 1 : 0].textContent }));
  }
  mark(false);
  listenForSwipes(page, (side) => {
    if (!page.classList.contains("idle")) choose(side === "left");
  });
  return element("div", { class: "view-choice", role: "group", "aria-label": say("view.which") }, ...buttons, said);
}
