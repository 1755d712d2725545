// Swipes, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { beginSwipe, emptySwipe, endSwipe, moveSwipe } from "../../server/dashboard/core/swipe.js";

/** Play steps [what, id, x, y, ms] and tell which sides came out. */
function play(steps) {
  let swipe = emptySwipe();
  const sides = [];
  for (const [what, id, x, y, at_ms] of steps) {
    if (what === "down") swipe = beginSwipe(swipe, id, x, y, at_ms);
    else if (what === "move") swipe = moveSwipe(swipe, id, x, y, at_ms);
    else {
      const end = endSwipe(swipe, id, at_ms);
      swipe = end.swipe;
      sides.push(end.side);
    }
  }
  return sides;
}
const stroke = (dx, dy, ms = 250) => play([["down", 1, 200, 300, 0], ["move", 1, 200 + dx / 2, 300 + dy / 2, ms / 2], ["move", 1, 200 + dx, 300 + dy, ms], ["up", 1, 0, 0, ms]])[0];

test("a finger that goes to the side is a swipe, one that goes up, slowly or hardly is none", () => {
  assert.equal(stroke(-120, 10), "left");
  assert.equal(stroke(120, -30), "right");
  for (const [dx, dy, ms] of [[-120, 90], [10, 200], [-30, 0], [-120, 0, 1500]]) assert.equal(stroke(dx, dy, ms), null);
  assert.equal(play([["down", 1, 0, 0, 0], ["up", 1, 0, 0, 50]])[0], null);
});

test("a drop that falls meanwhile does not spoil it, a hand does", () => {
  const drop = [["down", 1, 200, 300, 0], ["down", 2, 50, 50, 60], ["up", 2, 0, 0, 120], ["move", 1, 60, 300, 250], ["up", 1, 0, 0, 260]];
  assert.deepEqual(play(drop), [null, "left"]);
  const hand = [["down", 1, 200, 300, 0], ["down", 2, 220, 380, 20], ["move", 1, 60, 300, 250], ["up", 1, 0, 0, 260], ["move", 2, 60, 380, 270], ["up", 2, 0, 0, 280]];
  assert.deepEqual(play(hand), [null, null]);
});

test("after a hand the next finger swipes again", () => {
  const steps = [["down", 1, 0, 0, 0], ["down", 2, 50, 0, 10], ["up", 1, 0, 0, 400], ["up", 2, 0, 0, 410],
    ["down", 3, 200, 300, 1000], ["move", 3, 60, 300, 1200], ["up", 3, 0, 0, 1210]];
  assert.deepEqual(play(steps), [null, null, "left"]);
});
