// The slider that plays a job back, with the moment in words.

import { say } from "../core/say.js";
import { describeMoment, paceOf } from "../core/playback.js";
import { element, setText } from "./element.js";

const STEP_S = 1;
const SAID_EVERY_MS = 250; // words that change sixty times a second cannot be read

/** The controls; they move the playhead, and follow it. */
export function makePlayback(found, playhead, set) {
  const { from_s, to_s } = playhead;
  const pace = paceOf(to_s - from_s);
  const slider = element("input", { type: "range", id: "playback", min: "0", max: String(Math.ceil(to_s - from_s)), step: String(STEP_S), value: String(Math.ceil(to_s - from_s)) });
  const words = element("p", { class: "moment" });
  const play = element("button", { type: "button" }, "");
  const whole = element("button", { type: "button", onclick: () => halt(null) }, say("straight.whole"));
  let frame = null;
  let said_ms = -Infinity;

  const show = () => {
    const t = playhead.t;
    const isWhole = t === null;
    slider.value = String(isWhole ? slider.max : Math.round(t - from_s));
    setText(play, frame === null ? say("straight.play", { pace }) : say("straight.hold"));
    whole.hidden = isWhole;
    const now_ms = performance.now();
    if (frame !== null && now_ms - said_ms < SAID_EVERY_MS) return;
    said_ms = now_ms;
    const told = isWhole ? say("straight.is_whole") : describeMoment(found, t, from_s, set);
    setText(words, told);
    slider.setAttribute("aria-valuetext", told);
  };
  const halt = (t) => {
    if (frame !== null) cancelAnimationFrame(frame);
    frame = null;
    playhead.move(t);
    show();
  };
  const run = (before_ms) => (now_ms) => {
    if (!slider.isConnected) return; // the page has been left
    const t = playhead.t + ((now_ms - before_ms) / 1000) * pace;
    if (t >= to_s) {
      halt(null);
      return;
    }
    playhead.move(t);
    frame = requestAnimationFrame(run(now_ms));
  };
  play.addEventListener("click", () => {
    if (frame !== null) {
      halt(playhead.t);
      return;
    }
    if (playhead.t === null) playhead.move(from_s);
    frame = requestAnimationFrame(run(performance.now()));
    show();
  });
  slider.addEventListener("input", () => halt(from_s + Number(slider.value)));
  playhead.addEventListener("change", show);
  show();
  return element("div", { class: "playback" }, element("label", { for: "playback" }, say("straight.how")), slider, words,
    element("div", { class: "playback-row" }, play, whole));
}
