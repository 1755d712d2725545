// What the page knows; every change is told to those who listen.

import { emptyDose, emptyTrack, patchDose, patchTrack } from "./core/dose.js";
import { LIGHTS, TEXT_SIZES } from "./core/looks.js";
import { FIRST_SET, UNIT_SETS } from "./core/units.js";

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

export class Store extends EventTarget {
  units = remember("units");
  text = remember("text");
  light = remember("light");
  snapshot = null;
  snapshotAt_s = null;
  isConnected = false;
  dose = emptyDose();
  track = emptyTrack();
  strips = null;
  outlook = null;
  lawn = { plane: null, zones: [] };
  isSoundOn = false;
  seenAlarm = null;

  tell(what) {
    this.dispatchEvent(new Event(what));
  }

  chooseUnits(name) {
    this.choose("units", name);
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

  takeSnapshot(snapshot, now_s) {
    const before = this.snapshot;
    this.snapshot = snapshot;
    this.snapshotAt_s = now_s;
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

  /** How long ago the service was heard. */
  heardAgo(now_s) {
    return this.snapshotAt_s === null ? null : Math.max(0, now_s - this.snapshotAt_s);
  }

  /** How old the newest figures are: the age they had when they came, and the time since. */
  ageAt(now_s) {
    if (this.snapshotAt_s === null) return null;
    return this.heardAgo(now_s) + (this.snapshot.rig.age_s ?? 0);
  }
}
