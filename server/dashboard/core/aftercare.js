// What labels ask for once the liquid is out.

/** What the labels ask for once it is sprayed: keeping off, watering in, keeping dry. */
export function tellAfter({ products }) {
  const hours = Math.max(...products.map(({ re_entry_h }) => re_entry_h ?? 0));
  const water = products.filter(({ watering }) => watering === "must").map((each) => [`water ${each.name} in`,
    each.water_within_h ? `within ${each.water_within_h} h` : "", each.water_depth_stated ? `with ${each.water_depth_stated}` : ""].filter(Boolean).join(" "));
  const dry = products.filter(({ watering, dry_h }) => watering === "must_not" || dry_h)
    .map(({ name, dry_h }) => (dry_h ? `keep ${name} dry for ${dry_h} h` : `do not water ${name} in`));
  const off = hours > 0 ? `people and animals off for ${hours} h, and until it is dry` : "people and animals off until it is dry, or longer where the label says so";
  return products.length === 0 ? "" : `Afterwards: ${[off, ...water, ...dry].join("; ")}.`;
}
