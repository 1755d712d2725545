// From metres on the ground to points on the screen, north up.

/** The smallest box round everything that is to be seen; null when there is nothing. */
export function boundsOf({ zones = [], dose = null, track = null, position = null }) {
  const box = { west_m: Infinity, south_m: Infinity, east_m: -Infinity, north_m: -Infinity };
  const include = (east_m, north_m) => {
    if (!Number.isFinite(east_m) || !Number.isFinite(north_m)) return;
    box.west_m = Math.min(box.west_m, east_m);
    box.east_m = Math.max(box.east_m, east_m);
    box.south_m = Math.min(box.south_m, north_m);
    box.north_m = Math.max(box.north_m, north_m);
  };
  for (const zone of zones) for (const ring of zone.rings_m) for (const [east_m, north_m] of ring) include(east_m, north_m);
  if (dose && dose.nx > 0 && zones.length === 0) {
    include(dose.x0_m, dose.y0_m);
    include(dose.x0_m + dose.nx * dose.cell_m, dose.y0_m + dose.ny * dose.cell_m);
  }
  if (track?.box) {
    include(track.box.west_m, track.box.south_m); // kept as the way grows: hours of it are not looked through each frame
    include(track.box.east_m, track.box.north_m);
  } else if (track) track.east_m.forEach((east_m, place) => include(east_m, track.north_m[place]));
  if (position) include(position.east_m, position.north_m);
  return box.west_m === Infinity ? null : box;
}

/** How to draw a box in a frame of pixels: scale and shift that keep its shape, with a margin. */
export function fitView(box, width_px, height_px, margin_px) {
  const span_east_m = Math.max(box.east_m - box.west_m, 2);
  const span_north_m = Math.max(box.north_m - box.south_m, 2);
  const px_per_m = Math.max(
    0.01, Math.min((width_px - 2 * margin_px) / span_east_m, (height_px - 2 * margin_px) / span_north_m));
  const middle_east_m = (box.east_m + box.west_m) / 2;
  const middle_north_m = (box.north_m + box.south_m) / 2;
  return { px_per_m, left_px: width_px / 2 - middle_east_m * px_per_m, top_px: height_px / 2 + middle_north_m * px_per_m };
}

/** A place on the ground as a point on the screen. */
export function project(view, east_m, north_m) {
  return [view.left_px + east_m * view.px_per_m, view.top_px - north_m * view.px_per_m];
}

/** A round length for a scale bar: 1, 2 or 5 times a power of ten that fills at most the given share. */
export function roundLength(longest) {
  if (!(longest > 0)) return 0;
  const power = 10 ** Math.floor(Math.log10(longest));
  return [5, 2, 1].map((step) => step * power).find((length) => length <= longest * (1 + 1e-12));
}

/** About `count` round ticks within a range. */
export function ticksWithin(low, high, count) {
  if (!(high > low)) return [low];
  const rough = (high - low) / Math.max(1, count);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((each) => each * power).find((each) => each >= rough * (1 - 1e-12));
  const ticks = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9; k += 1) ticks.push(k * step + 0); // never minus nought
  return ticks;
}
