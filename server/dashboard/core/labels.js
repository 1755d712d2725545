// Labels that do not collide: placed one after the other by importance, each at the first of its places that is free.

/** The box round a label centred on a point. */
export function boxAround([x, y], width_px, height_px) {
  return { left: x - width_px / 2, right: x + width_px / 2, top: y - height_px / 2, bottom: y + height_px / 2 };
}

/** Whether two boxes have a point in common. */
export function overlaps(a, b) {
  return a.right >= b.left && a.left <= b.right && a.bottom >= b.top && a.top <= b.bottom;
}

/** Places for a label at a point: on it, then above, below, right and left of it. */
export function placesRound([x, y], width_px, height_px, gap_px = 2) {
  const [across, up] = [width_px + gap_px, height_px + gap_px];
  return [[x, y], [x, y - up], [x, y + up], [x + across, y], [x - across, y]];
}

/** What is taken on a drawing; `frame` is where labels may lie, everywhere without one. */
export class Room {
  #taken = [];
  #frame;

  constructor(frame = null) {
    this.#frame = frame;
  }

  /** Keep ground free of labels. */
  block(box) {
    this.#taken.push(box);
  }

  /** The first of these places at which a label of that size is free, taken from now on; null where none is. */
  take(places, width_px, height_px) {
    for (const place of places) {
      const box = boxAround(place, width_px, height_px);
      if (!this.#isWithin(box) || this.#taken.some((other) => overlaps(box, other))) continue;
      this.#taken.push(box);
      return { place, box };
    }
    return null;
  }

  #isWithin({ left, right, top, bottom }) {
    const frame = this.#frame;
    return frame === null || (left >= frame.left && right <= frame.right && top >= frame.top && bottom <= frame.bottom);
  }
}

/** Place labels { places, width_px, height_px, rank }, low ranks first; in their own order each { place, box } or null. */
export function placeLabels(labels, frame = null) {
  const room = new Room(frame);
  const found = labels.map(() => null);
  const order = labels.map((_, number) => number).sort((a, b) => labels[a].rank - labels[b].rank || a - b);
  for (const number of order) {
    const { places, width_px, height_px } = labels[number];
    found[number] = room.take(places, width_px, height_px);
  }
  return found;
}
