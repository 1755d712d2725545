// What is felt while walking, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeFeel, feelAir, nameSide } from "../../server/dashboard/core/feel.js";

const close = (found, wanted) => assert.ok(Math.abs(found - wanted) < 1e-9, `${found} is not ${wanted}`);
const wind = { mean_60s_mps: 4.5, apparent_mps: 5.7, from_deg: 90, from_sd_deg: 10, limit_mps: 4.0 };
const room = { wind, position: { heading_deg: 90 }, speed_mps: 1.3, wanted_speed_mps: 1.3 };

test("walking into the wind adds the pace, with it takes it away, across it adds as on a right triangle", () => {
  close(feelAir(4.5, 90, 1.3, 90), 5.8);
  close(feelAir(4.5, 90, 1.3, 270), 3.2);
  close(feelAir(3, 0, 4, 90), 5);
  close(feelAir(1.3, 90, 1.3, 270), 0);
  close(feelAir(2, 350, 0, 10), 2);
});

test("sides are named across north too", () => {
  assert.equal(nameSide(350, 10), "into it");
  assert.equal(nameSide(350, 170), "with it");
  assert.equal(nameSide(0, 90), "across it");
});

test("a following wind deceives nobody", () => {
  const told = describeFeel(room, "l_per_100m2");
  assert.match(told, /^Air 4\.5\u00a0m\/s\. You feel 5\.7 now, into it; the next strip will feel like 3\.2, with it\. The air is too much either way\.$/);
  assert.match(describeFeel({ ...room, wind: { ...wind, limit_mps: 5 } }, "l_per_100m2"), /under the limit either way/);
});

test("where the wind's side is not known the next strip is told from least to most", () => {
  for (const other of [{ wind: { ...wind, from_deg: null } }, { wind: { ...wind, from_sd_deg: 80 } }, { position: null }, { position: { heading_deg: null } }]) {
    assert.match(describeFeel({ ...room, ...other }, "l_per_100m2"), /feel like 3\.2 to 5\.8\./);
  }
});

test("what is not known is left out", () => {
  assert.equal(describeFeel({ ...room, wind: { ...wind, mean_60s_mps: null } }, "l_per_100m2"), "");
  const still = describeFeel({ ...room, speed_mps: null, wanted_speed_mps: null }, "l_per_100m2");
  assert.equal(still, "Air 4.5\u00a0m/s. You feel 5.7 now. The air is too much either way.");
  assert.match(describeFeel({ ...room, wind: { ...wind, apparent_mps: null } }, "l_per_100m2"), /^Air 4\.5\u00a0m\/s\. The next strip/);
  assert.ok(!describeFeel({ ...room, wind: { ...wind, limit_mps: null } }, "l_per_100m2").includes("limit"));
});
