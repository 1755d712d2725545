// The bar under a gloved thumb: which one action a state has, and what counts as holding it.

import { say } from "./say.js";

export const SHORT_HOLD_MS = 700;
export const LONG_HOLD_MS = 1500;
export const UNDO_MS = 5000;
export const AGAIN_MS = 5000;
const DRIP_MS = 150; // a second contact that is shorter is a drop, not a finger
const NEARLY_DONE = 0.02;
const NEARLY_DRY = 0.03;

/*
 * Undoing is offered only where the opposite puts the job back as it was: pausing and going on. A job that was begun
 * cannot be taken back while it runs, a finished one not be opened again, and a tank that was called full has lost what
 * was known of it: these ask for a longer hold instead.
 */
const ACTIONS = {
  start: { name: "start", label: say("glove.start"), doing: say("glove.start_doing"), hold_ms: LONG_HOLD_MS, undo: null },
  pause: { name: "pause", label: say("glove.pause"), doing: say("glove.pause_doing"), hold_ms: SHORT_HOLD_MS, undo: "resume" },
  resume: { name: "resume", label: say("glove.resume"), doing: say("glove.resume_doing"), hold_ms: SHORT_HOLD_MS, undo: "pause" },
  refill: { name: "refill", label: say("glove.refill"), doing: say("glove.refill_doing"), hold_ms: LONG_HOLD_MS, undo: null },
  finish: { name: "finish", label: say("glove.finish"), doing: say("glove.finish_doing"), hold_ms: LONG_HOLD_MS, undo: null },
};

/** The one action of the present state: what comes next at this moment of a job. */
export function chooseAction(snapshot) {
  const state = snapshot?.job?.state;
  if (state !== "running" && state !== "paused") return ACTIONS.start;
  if (state === "paused") return ACTIONS.resume;
  const { is_spraying, area_left_m2, zone_area_m2, tank_left_l, tank_l } = snapshot;
  if (is_spraying) return ACTIONS.pause;
  if (zone_area_m2 > 0 && area_left_m2 !== null && area_left_m2 <= NEARLY_DONE * zone_area_m2) return ACTIONS.finish;
  if (tank_l > 0 && tank_left_l !== null && tank_left_l <= NEARLY_DRY * tank_l) return ACTIONS.refill;
  return ACTIONS.pause;
}

/** What takes an action back; null where nothing does. */
export function undoOf(action) {
  return action.undo === null ? null : { ...ACTIONS[action.undo], label: say("glove.undo", { doing: ACTIONS[action.undo].doing }), undo: null };
}

/** The line under an action: how it is done, by hand or by key. */
export function tellHow(action, hasKeys = false) {
  const how = say(`glove.hold${action.hold_ms > SHORT_HOLD_MS ? "_longer" : ""}`);
  return hasKeys ? say("glove.or_keys", { how }) : how;
}

/** Nobody touches it. */
export function emptyTouch() {
  return { contacts: [], isSpoiled: false };
}

/** One more contact; the same one again is no news. */
export function addContact(touch, id, at_ms) {
  if (touch.contacts.some((each) => each.id === id)) return touch;
  return { ...touch, contacts: [...touch.contacts, { id, at_ms }] };
}

/** A contact ends; after several fingers the bar listens again once all are off. */
export function dropContact(touch, id) {
  const contacts = touch.contacts.filter((each) => each.id !== id);
  return { contacts, isSpoiled: touch.isSpoiled && contacts.length > 0 };
}

/** The touch as it stands at an instant: a second contact that stays is a hand, and a hand presses nothing. */
export function judgeTouch(touch, now_ms) {
  const isHand = touch.contacts.filter(({ at_ms }) => now_ms - at_ms > DRIP_MS).length > 1;
  return isHand ? { ...touch, isSpoiled: true } : touch;
}

/** How full the bar is, 0 to 1, counted from the contact that has lasted longest. */
export function fillOf(touch, now_ms, hold_ms) {
  if (touch.isSpoiled || touch.contacts.length === 0) return 0;
  return Math.min(1, Math.max(0, (now_ms - touch.contacts[0].at_ms) / hold_ms));
}
