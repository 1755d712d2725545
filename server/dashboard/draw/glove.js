// A bar that is held until it is full. Short touches and several fingers do nothing; by key it is held or pressed twice.

import { AGAIN_MS, addContact, dropContact, emptyTouch, fillOf, judgeTouch, tellHow } from "../core/glove.js";
import { say } from "../core/say.js";
import { element, setText } from "./element.js";

const KEYS = ["Enter", " "];
const KEY = "key";

/** The bar; `onFull(action)` is told when an action was meant, `show(action)` says which one it is now. */
export function makeGlove(onFull, className = "glove") {
  const label = element("strong", { class: "glove-label" });
  const how = element("span", { class: "glove-how" });
  const level = element("span", { class: "glove-level", "aria-hidden": "true" });
  const words = element("span", { class: "unseen", role: "status" });
  const button = element("button", { type: "button", class: className }, level, label, how);
  const part = element("div", { class: "glove-part" }, button, words);
  let action = null;
  let next = null;
  let touch = emptyTouch();
  let askedAt_ms = -Infinity;
  let frame = 0;
  let isFired = false;

  const paint = (share) => level.style.setProperty("transform", `scaleY(${share})`);
  const change = (now) => {
    action = now;
    askedAt_ms = -Infinity;
    setText(label, now.label);
    setText(how, tellHow(now, matchMedia("(hover: hover)").matches));
    setText(words, "");
  };
  const rest = () => {
    cancelAnimationFrame(frame);
    frame = 0;
    isFired = false;
    paint(0);
    if (next) change(next);
    next = null;
  };
  const fire = () => {
    isFired = true;
    askedAt_ms = -Infinity;
    onFull(action);
  };
  const watch = () => {
    const now_ms = performance.now();
    touch = judgeTouch(touch, now_ms);
    const share = isFired ? 1 : fillOf(touch, now_ms, action.hold_ms);
    paint(share);
    if (share === 1 && !isFired) fire();
    frame = touch.contacts.length > 0 ? requestAnimationFrame(watch) : 0;
  };
  const press = (id) => {
    touch = addContact(touch, id, performance.now());
    if (frame === 0) frame = requestAnimationFrame(watch);
  };
  const lift = (id) => {
    touch = dropContact(touch, id);
    if (touch.contacts.length === 0) rest();
  };
  /** A short press by key or by a reader of the screen: the second one within five seconds counts. */
  const ask = () => {
    const now_ms = performance.now();
    if (now_ms - askedAt_ms <= AGAIN_MS) {
      fire();
      isFired = false;
      return;
    }
    askedAt_ms = now_ms;
    setText(how, say("glove.again", { doing: action.doing }));
    setText(words, say("glove.again_within", { doing: action.doing }));
    setTimeout(() => {
      if (askedAt_ms === now_ms) change(action);
    }, AGAIN_MS);
  };
  const endKey = () => {
    const isShort = touch.contacts.some(({ id }) => id === KEY) && !isFired;
    lift(KEY);
    return isShort;
  };

  button.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    button.setPointerCapture?.(event.pointerId);
    press(event.pointerId);
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) button.addEventListener(name, (event) => lift(event.pointerId));
  button.addEventListener("keydown", (event) => {
    if (!KEYS.includes(event.key)) return;
    event.preventDefault();
    if (!event.repeat) press(KEY);
  });
  button.addEventListener("keyup", (event) => {
    if (KEYS.includes(event.key) && endKey()) ask();
  });
  button.addEventListener("blur", endKey);
  button.addEventListener("contextmenu", (event) => event.preventDefault()); // a long touch is the press itself
  button.addEventListener("click", (event) => {
    if (event.detail === 0) ask(); // a reader of the screen presses without a finger
  });
  const show = (now) => {
    if (now.label === (next ?? action)?.label) return;
    if (touch.contacts.length > 0) next = now; // never changed under the thumb
    else change(now);
  };
  paint(0);
  return { part, button, show };
}
