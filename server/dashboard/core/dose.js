// The dose on its grid as the stream brings it: the whole first, then the cells that changed.

/** An empty picture. */
export function emptyDose() {
  return { x0_m: 0, y0_m: 0, cell_m: 0.1, nx: 0, ny: 0, l_per_m2: new Float32Array(0), revision: 0 };
}

/** The picture after one message; cells outside the grid are left out and counted. */
export function patchDose(dose, message) {
  const isSameGrid = message.nx === dose.nx && message.ny === dose.ny && message.x0_m === dose.x0_m
    && message.y0_m === dose.y0_m && message.cell_m === dose.cell_m;
  const isNew = message.reset || !isSameGrid;
  const values = isNew ? new Float32Array(message.nx * message.ny) : dose.l_per_m2;
  let refused = 0;
  message.cells.forEach((cell, place) => {
    const value = message.l_per_m2[place];
    if (Number.isInteger(cell) && cell >= 0 && cell < values.length && Number.isFinite(value)) values[cell] = value;
    else refused += 1;
  });
  const { x0_m, y0_m, cell_m, nx, ny } = message;
  return { x0_m, y0_m, cell_m, nx, ny, l_per_m2: values, revision: dose.revision + 1, refused };
}

/** A whole grid, row by row from the south, as a picture; null is nothing. */
export function wholeDose({ x0_m, y0_m, cell_m, nx, ny, l_per_m2, sd_tenths = null }) {
  const values = Float32Array.from(l_per_m2, (value) => (Number.isFinite(value) ? value : 0));
  return { x0_m, y0_m, cell_m, nx, ny, l_per_m2: values, sd_tenths, revision: 1, refused: 0 };
}

/** The litres that the picture holds. */
export function litresOf(dose) {
  return dose.l_per_m2.reduce((sum, value) => sum + value, 0) * dose.cell_m ** 2;
}

/** An empty way. */
export function emptyTrack() {
  return { east_m: [], north_m: [], spraying: [] };
}

/** The way after one message. */
export function patchTrack(track, message) {
  const before = message.reset ? emptyTrack() : track;
  for (const name of ["east_m", "north_m", "spraying"]) for (const value of message[name]) before[name].push(value);
  return before;
}
