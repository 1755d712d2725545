// How late what comes on a stream is: the service stamps each picture by its own clock, the least delay counts as none.

const CREEP = 1e-4; // two clocks may drift apart by so much without its being taken for delay

/** Nothing has come on this stream yet. */
export function emptyLag() {
  return { least_s: Infinity, at_s: null, lag_s: 0 };
}

/** One more picture: stamped at `sent_s` of the service's clock, here at `now_s` of this page's; `lag_s` tells its delay. */
export function noteStamp({ least_s, at_s }, sent_s, now_s) {
  if (!Number.isFinite(sent_s)) return { least_s, at_s, lag_s: 0 };
  const offset_s = now_s - sent_s;
  const allowed_s = at_s === null ? Infinity : least_s + CREEP * Math.max(0, now_s - at_s);
  const now_least_s = Math.min(allowed_s, offset_s);
  return { least_s: now_least_s, at_s: now_s, lag_s: offset_s - now_least_s };
}

/** How long ago an instant was that both clocks of this device noted: one of them stops while the device sleeps. */
export function agoBy(then, now) {
  return Math.max(0, now.run_s - then.run_s, now.wall_s - then.wall_s);
}
