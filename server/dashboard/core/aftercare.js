// What labels ask for once the liquid is out.

import { say } from "./say.js";

function tellWater({ name, water_within_h: hours, water_depth_stated: depth }) {
  if (hours && depth) return say("after.water_within_with", { name, hours, depth });
  if (hours) return say("after.water_within", { name, hours });
  return depth ? say("after.water_with", { name, depth }) : say("after.water", { name });
}

/** What the labels ask for once it is sprayed: keeping off, watering in, keeping dry. */
export function tellAfter({ products }) {
  const hours = Math.max(...products.map(({ re_entry_h }) => re_entry_h ?? 0));
  const water = products.filter(({ watering }) => watering === "must").map(tellWater);
  const dry = products.filter(({ watering, dry_h }) => watering === "must_not" || dry_h)
    .map(({ name, dry_h }) => (dry_h ? say("after.keep_dry", { name, hours: dry_h }) : say("after.no_water", { name })));
  const off = hours > 0 ? say("after.off_for", { hours }) : say("after.off_till_dry");
  return products.length === 0 ? "" : say("after.afterwards", { what: [off, ...water, ...dry].join("; ") });
}
