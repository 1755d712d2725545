// What is under a finger: the nearest way on the ground, the slot of a sheet, the time on an axis.

function squaredFrom([x, y], [x0, y0], [x1, y1]) {
  const [dx, dy] = [x1 - x0, y1 - y0];
  const squared = dx ** 2 + dy ** 2;
  const part = squared > 0 ? Math.min(1, Math.max(0, ((x - x0) * dx + (y - y0) * dy) / squared)) : 0;
  return (x0 + part * dx - x) ** 2 + (y0 + part * dy - y) ** 2;
}

/** The key of the line nearest to a place, if within reach, or null; `lines` are [key, points]. */
export function hitLine(lines, place, reach) {
  let [best, least] = [null, reach ** 2];
  for (const [key, points] of lines) {
    for (let k = Math.min(1, points.length - 1); k >= 0 && k < points.length; k += 1) {
      const squared = squaredFrom(place, points[Math.max(0, k - 1)], points[k]);
      if (squared < least) [best, least] = [key, squared];
    }
  }
  return best;
}

/** The key of the box that a point lies in, its left and upper sides included, or null; `boxes` are [key, box]. */
export function hitBox(boxes, [x, y]) {
  return boxes.find(([, { left, right, top, bottom }]) => x >= left && x < right && y >= top && y < bottom)?.[0] ?? null;
}

/** The value at a point of an axis that leads from `from` to `to` over pixels; null beside it. */
export function hitAxis(x, [left_px, right_px], [from, to]) {
  const part = (x - left_px) / (right_px - left_px);
  return part >= 0 && part <= 1 ? from + part * (to - from) : null;
}
