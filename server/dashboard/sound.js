// The page's own beep, an echo of the sounder on the rig. Browsers allow it only after a press of a button.

const AGAIN_MS = 1200;

export class Sound {
  #context = null;
  #timer = null;
  #store;
  #level = "none";

  constructor(store) {
    this.#store = store;
    store.addEventListener("snapshot", () => this.#follow(store.snapshot.alarm?.level ?? "none"));
  }

  /** Unlock the sound, or silence this page; the rig's sounder is not touched. */
  toggle() {
    if (this.#store.isSoundOn) {
      this.#context?.suspend();
      this.#store.setSound(false);
      return;
    }
    this.#context ??= new AudioContext();
    this.#context.resume();
    this.#store.setSound(true);
    this.#beep(660, 0.15);
  }

  #follow(level) {
    if (level === this.#level) return;
    this.#level = level;
    clearInterval(this.#timer);
    if (level === "notice") this.#beep(660, 0.3);
    if (level !== "stop") return;
    this.#beep(990, 0.6);
    this.#timer = setInterval(() => this.#beep(990, 0.6), AGAIN_MS);
  }

  #beep(frequency_hz, length_s) {
    if (!this.#store.isSoundOn || this.#context === null) return;
    const from = this.#context.currentTime;
    const tone = this.#context.createOscillator();
    const volume = this.#context.createGain();
    tone.type = "square";
    tone.frequency.value = frequency_hz;
    volume.gain.setValueAtTime(0.25, from);
    volume.gain.linearRampToValueAtTime(0, from + length_s);
    tone.connect(volume).connect(this.#context.destination);
    tone.start(from);
    tone.stop(from + length_s);
  }
}
