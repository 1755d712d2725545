// When an alarm takes the whole screen, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeLull, describeSince, isWhole, keyOf } from "../../server/dashboard/core/alarm.js";

const stop = { level: "stop", reason: "The wind is above the limit", since_utc: 1000 };
const room = { alarm: stop, job: { state: "running" }, is_spraying: false };

test("a stop covers the page while there is something to stop", () => {
  assert.equal(isWhole(room, null), true);
  assert.equal(isWhole({ ...room, job: null }, null), false);
  assert.equal(isWhole({ ...room, job: null, is_spraying: true }, null), true);
  assert.equal(isWhole({ ...room, alarm: { ...stop, level: "notice" } }, null), false);
  assert.equal(isWhole({ ...room, alarm: null }, null), false);
  assert.equal(isWhole(null, null), false);
});

test("a stop that was seen stays seen and the next one covers the page again", () => {
  const seen = keyOf(stop);
  assert.equal(isWhole({ ...room, alarm: { ...stop, reason: "A gust" } }, seen), false);
  assert.equal(isWhole({ ...room, alarm: { ...stop, since_utc: 1300 } }, seen), true);
  assert.equal(keyOf({ ...stop, level: "notice" }), null);
});

test("since when is told only where it is known", () => {
  assert.match(describeSince(stop, 1125), /for 2\u00a0min 5\u00a0s/);
  assert.equal(describeSince({ ...stop, since_utc: null }, 1125), "");
  assert.ok(!describeSince(stop, null).includes("NaN"));
});

test("a lull is told by its chance, else by the usual hours, else as not known", () => {
  const known = { state: "known", chance: 0.42, low: 0.3, high: 0.55, need: { minutes: 20 }, at_utc: 1000 };
  assert.match(describeLull(known, "l_per_ha"), /lull of 20 min: 42\u00a0% \(30\u00a0% to 55\u00a0%\)/);
  const above = { ...known, state: "above", chance: null };
  assert.match(describeLull({ ...above, hours: { usual: [{ from_utc: 5000, to_utc: 9000 }] } }, "l_per_ha"), /usually calm here from/);
  assert.match(describeLull({ ...above, hours: { usual: [{ from_utc: 0, to_utc: 9000 }] } }, "l_per_ha"), /At this hour it is usually calm/);
  assert.match(describeLull({ ...above, hours: { usual: [], next_utc: 7200, next_share: 0.9, next_days: 12 } }, "l_per_ha"), /90\u00a0% of 12 days/);
  assert.match(describeLull({ ...above, hours: { usual: [], next_utc: null } }, "l_per_ha"), /not known/);
  assert.match(describeLull(null, "l_per_ha"), /not known/);
});
