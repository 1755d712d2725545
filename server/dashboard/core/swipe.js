// A swipe of one finger to the side: drops and hands are none, and what goes up or down is the page's own.

import { addContact, dropContact, emptyTouch, judgeTouch } from "./glove.js";

const LEAST_PX = 56;
const STEEP = 0.5; // at most so much up or down for each point to the side
const LONGEST_MS = 900;

/** Nobody touches. */
export function emptySwipe() {
  return { touch: emptyTouch(), from: null, to: null };
}

/** One more contact: the first one is the finger. */
export function beginSwipe(swipe, id, x, y, at_ms) {
  const touch = addContact(judgeTouch(swipe.touch, at_ms), id, at_ms);
  return { touch, from: swipe.from ?? { id, x, y, at_ms }, to: swipe.to };
}

/** The finger moves. */
export function moveSwipe(swipe, id, x, y, at_ms) {
  return { ...swipe, touch: judgeTouch(swipe.touch, at_ms), to: swipe.from?.id === id ? { x, y, at_ms } : swipe.to };
}

/** A contact ends: what is left, and "left" or "right" where that was a swipe. */
export function endSwipe(swipe, id, at_ms) {
  const judged = judgeTouch(swipe.touch, at_ms);
  const touch = dropContact(judged, id);
  if (swipe.from?.id !== id) return { swipe: touch.contacts.length === 0 ? emptySwipe() : { ...swipe, touch }, side: null };
  const side = judged.isSpoiled || swipe.to === null ? null : nameSide(swipe.from, swipe.to);
  return { swipe: { ...emptySwipe(), touch: { ...touch, isSpoiled: touch.contacts.length > 0 } }, side };
}

function nameSide(from, to) {
  const [across, down] = [to.x - from.x, to.y - from.y];
  if (to.at_ms - from.at_ms > LONGEST_MS || Math.abs(across) < LEAST_PX || Math.abs(down) > STEEP * Math.abs(across)) return null;
  return across < 0 ? "left" : "right";
}
