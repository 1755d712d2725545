// The page's own sounds: an echo of the rig's sounder, and the beat of the right step. Browsers allow them only after a press.

import { judgeOff, periodOf, planTicks, ratioOf } from "./core/beat.js";

const AGAIN_MS = 1200;
const LOOK_MS = 200;
const AHEAD_S = 0.4; // planned so far ahead, so that a busy page keeps the beat
const ALARM = { type: "square", volume: 0.25 };
const TICK = { type: "sine", volume: 0.5 };
const TICK_HZ = 1500;
const TICK_S = 0.035;

export class Sound {
  #context = null;
  #timer = null;
  #store;
  #level = "none";
  #isOff = false;
  #next_s = null;
  #beat = null;

  constructor(store) {
    this.#store = store;
    store.addEventListener("snapshot", () => this.#follow(store.snapshot.alarm?.level ?? "none"));
  }

  /** Unlock the sound, or silence this page; the rig's sounder is not touched. */
  toggle() {
    if (this.#store.isSoundOn) {
      this.#context?.suspend();
      this.#store.setSound(false);
      this.#setTicks(false);
      return;
    }
    this.#context ??= new AudioContext();
    this.#context.resume();
    this.#store.setSound(true);
    this.#play(660, 0.15, ALARM);
  }

  /** The beat of the right step, on or off; whoever wants it hears the alarm as well. */
  toggleTicks() {
    const isOn = !this.#store.isTicking;
    if (isOn && !this.#store.isSoundOn) this.toggle();
    this.#setTicks(isOn);
  }

  #setTicks(isOn) {
    clearInterval(this.#beat);
    this.#isOff = false;
    this.#next_s = null;
    if (isOn) this.#beat = setInterval(() => this.#tick(), LOOK_MS);
    this.#store.setTicking(isOn);
  }

  #tick() {
    const { snapshot, step_m } = this.#store;
    const ratio = ratioOf(snapshot, this.#store.ageAt(performance.now() / 1000));
    this.#isOff = judgeOff(this.#isOff, ratio);
    const period_s = this.#isOff ? periodOf(snapshot.wanted_speed_mps, step_m) : null;
    const plan = planTicks(this.#next_s, this.#context.currentTime, AHEAD_S, period_s);
    this.#next_s = plan.next_s;
    for (const at_s of plan.ticks) this.#play(TICK_HZ, TICK_S, TICK, at_s);
  }

  #follow(level) {
    if (level === this.#level) return;
    this.#level = level;
    clearInterval(this.#timer);
    if (level === "notice") this.#play(660, 0.3, ALARM);
    if (level !== "stop") return;
    this.#play(990, 0.6, ALARM);
    this.#timer = setInterval(() => this.#play(990, 0.6, ALARM), AGAIN_MS);
  }

  #play(frequency_hz, length_s, { type, volume }, at_s = null) {
    if (!this.#store.isSoundOn || this.#context === null) return;
    const from = at_s ?? this.#context.currentTime;
    const tone = this.#context.createOscillator();
    const gain = this.#context.createGain();
    tone.type = type;
    tone.frequency.value = frequency_hz;
    gain.gain.setValueAtTime(volume, from);
    gain.gain.linearRampToValueAtTime(0, from + length_s);
    tone.connect(gain).connect(this.#context.destination);
    tone.start(from);
    tone.stop(from + length_s);
  }
}
