import assert from "node:assert/strict";
import { test } from "node:test";

import { beginSpoken, speak } from "../../server/dashboard/core/spoken.js";

/** When each of the texts that are told each second is said, in seconds. */
function listen(tell, seconds) {
  let spoken = beginSpoken();
  const said = [];
  for (let second = 0; second < seconds; second += 1) {
    const now = speak(spoken, tell(second), 1000 * second);
    if (now !== spoken) said.push(second);
    spoken = now;
  }
  return said;
}

test("a figure that moves each second is read out once a minute", () => {
  assert.deepEqual(listen((second) => `It is ${second}.5 s old.`, 130), [0, 60, 120]);
});

test("another thing is said at once, twice in twenty seconds at the most", () => {
  assert.deepEqual(listen((second) => (second < 5 ? "" : second < 7 ? "Yes" : second < 30 ? "No" : "Wait"), 40), [5, 7, 30]);
  assert.deepEqual(listen((second) => (second % 2 === 0 ? "Yes" : "No"), 42), [0, 1, 20, 21, 40, 41]);
});

test("what had to wait is the newest by then", () => {
  let spoken = beginSpoken();
  for (const [text, at_ms] of [["a", 0], ["b", 1000], ["c", 2000], ["d", 3000]]) spoken = speak(spoken, text, at_ms);
  assert.equal(spoken.text, "b");
  assert.equal(speak(spoken, "d", 20_000).text, "d");
});
