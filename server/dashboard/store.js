// What the page knows; every change is told to those who listen.

import { STEP_M, holdStep } from "./core/beat.js";
import { emptyDose, emptyTrack, patchDose, patchTrack } from "./core/dose.js";
import { agoBy } from "./core/lag.js";
import { LIGHTS, TEXT_SIZES } from "./core/looks.js";
import { FIRST_SET, UNIT_SETS } from "./core/units.js";

const STEP_KEY = "calmpass.step_m";
// What a reader chooses for this browser: of these, the first unless another was kept.
const CHOICES = { units: [FIRST_SET, ...Object.keys(UNIT_SETS)], text: TEXT_SIZES, light: LIGHTS };

function remember(what) {
  try {
    const kept = localStorage.getItem(`calmpass.${what}`);
    return CHOICES[what].includes(kept) ? kept : CHOICES[what][0];
  } catch {
    return CHOICES[what][0]; // a browser that forbids storage still shows the page
  }
}

function rememberStep() {
  try {
    return holdStep(Number(localStorage.getItem(STEP_KEY))) ?? STEP_M.first;
  } catch {
    return STEP_M.first;
  }
}

function wallNow_s() {
  return Date.now() / 1000;
}

export class Store extends EventTarget {
  units = remember("units");
  text = remember("text");
  light = remember("light");
  snapshot = null;
  snapshotAt_s = null;
  #wallAt_s = null; // a phone that sleeps stops the other clock
  isConnected = false;
  dose = emptyDose();
  track = emptyTrack();
  strips = null;
  outlook = null;
  lawn = { plane: null, zones: [] };
  isSoundOn = false;
  isTicking = false;
  step_m = rememberStep();
  seenAlarm = null;

  tell(what) {
    this.dispatchEvent(new Event(what));
  }

  /** Choose the units, the text's size or the light, and keep it for the next visit. */
  choose(what, name) {
    if (!CHOICES[what].includes(name)) return;
    this[what] = name;
    try {
      localStorage.setItem(`calmpass.${what}`, name);
    } catch {
      // not kept for the next visit, still used in this one
    }
    this.tell(what);
  }

  /** New figures, `lag_s` late on their way. */
  takeSnapshot(snapshot, now_s, lag_s = 0) {
    const before = this.snapshot;
    this.snapshot = snapshot;
    this.snapshotAt_s = now_s - lag_s;
    this.#wallAt_s = wallNow_s() - lag_s;
    this.tell("snapshot");
    if (snapshot.strips !== undefined) this.takeStrips(snapshot.strips); // asked for, not streamed
    if (snapshot.outlook !== undefined) this.takeOutlook(snapshot.outlook);
    // The outline is drawn on the plane of the first fix: a page that was open before it must ask again.
    const isMoved = (before?.position ?? null) === null && snapshot.position !== null;
    if (isMoved || before?.job?.id !== snapshot.job?.id) this.tell("job");
  }

  takeStrips(strips) {
    this.strips = strips;
    this.tell("strips");
  }

  takeOutlook(outlook) {
    this.outlook = outlook;
    this.tell("outlook");
  }

  takeTrack(message) {
    this.track = patchTrack(this.track, message);
    this.tell("drawing");
  }

  takeDose(message) {
    this.dose = patchDose(this.dose, message);
    this.tell("drawing");
  }

  takeLawn(lawn) {
    this.lawn = lawn;
    this.tell("drawing");
  }

  setConnected(isConnected) {
    if (this.isConnected === isConnected) return;
    this.isConnected = isConnected;
    this.tell("connection");
  }

  setSound(isOn) {
    this.isSoundOn = isOn;
    this.tell("sound");
  }

  setTicking(isOn) {
    this.isTicking = isOn;
    this.tell("sound");
  }

  chooseStep(step_m) {
    this.step_m = step_m;
    try {
      localStorage.setItem(STEP_KEY, String(step_m));
    } catch {
      // not kept for the next visit, still used in this one
    }
    this.tell("sound");
  }

  /** How long ago the service was heard. */
  heardAgo(now_s) {
    if (this.snapshotAt_s === null) return null;
    return agoBy({ run_s: this.snapshotAt_s, wall_s: this.#wallAt_s }, { run_s: now_s, wall_s: wallNow_s() });
  }

  /** How old the newest figures are: the age they had when they came, and the time since. */
  ageAt(now_s) {
    if (this.snapshotAt_s === null) return null;
    return this.heardAgo(now_s) + (this.snapshot.rig.age_s ?? 0);
  }
}
