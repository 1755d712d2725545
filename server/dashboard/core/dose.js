// The dose on its grid and the way as the stream brings them: the whole first, then what changed.

import { unpack } from "./unpack.js";

const CHANGES_KEPT = 64; // so many messages may come between two frames before all is drawn anew
const NOWHERE = { west: Infinity, south: Infinity, east: -Infinity, north: -Infinity };

/** An empty picture. */
export function emptyDose() {
  return { x0_m: 0, y0_m: 0, cell_m: 0.1, nx: 0, ny: 0, l_per_m2: new Float32Array(0), revision: 0, changes: [] };
}

function fillWhole(values, { steps, step_l_per_m2 }) {
  const told = unpack(steps, Uint16Array);
  for (let cell = 0; cell < Math.min(told.length, values.length); cell += 1) values[cell] = told[cell] * step_l_per_m2;
}

/** Set some cells; gives how many were refused, and the box of those that were set, in columns and rows. */
function fillCells(values, nx, { cells = [], l_per_m2 = [] }) {
  const box = { ...NOWHERE };
  let refused = 0;
  cells.forEach((cell, place) => {
    const value = l_per_m2[place];
    if (!Number.isInteger(cell) || cell < 0 || cell >= values.length || !Number.isFinite(value)) {
      refused += 1;
      return;
    }
    values[cell] = value;
    const [column, row] = [cell % nx, Math.floor(cell / nx)];
    box.west = Math.min(box.west, column);
    box.east = Math.max(box.east, column + 1);
    box.south = Math.min(box.south, row);
    box.north = Math.max(box.north, row + 1);
  });
  return { refused, box };
}

/** The picture after one message; cells outside the grid are left out and counted. */
export function patchDose(dose, message) {
  const isSameGrid = message.nx === dose.nx && message.ny === dose.ny && message.x0_m === dose.x0_m
    && message.y0_m === dose.y0_m && message.cell_m === dose.cell_m;
  const isNew = message.reset || !isSameGrid;
  const { x0_m, y0_m, cell_m, nx, ny } = message;
  const values = isNew ? new Float32Array(nx * ny) : dose.l_per_m2;
  if (message.steps !== undefined) fillWhole(values, message);
  const { refused, box } = fillCells(values, nx, message);
  const revision = dose.revision + 1;
  const changes = isNew ? [] : [...dose.changes, { revision, box }].slice(-CHANGES_KEPT);
  return { x0_m, y0_m, cell_m, nx, ny, l_per_m2: values, revision, refused, changes };
}

/** The box of cells that changed after a revision, in columns and rows; null where all may have. */
export function changedSince({ revision, changes = [] }, since) {
  const missed = changes.filter((change) => change.revision > since);
  if (missed.length !== revision - since) return null;
  return missed.reduce((all, { box }) => ({ west: Math.min(all.west, box.west), south: Math.min(all.south, box.south),
    east: Math.max(all.east, box.east), north: Math.max(all.north, box.north) }), NOWHERE);
}

/** A whole grid, row by row from the south, as a picture, with all else that is told of it; null is nothing. */
export function wholeDose({ steps, l_per_m2 = [], sd_tenths = null, ...told }) {
  const values = new Float32Array(told.nx * told.ny);
  if (steps !== undefined) fillWhole(values, { ...told, steps });
  for (let cell = 0; cell < l_per_m2.length; cell += 1) values[cell] = Number.isFinite(l_per_m2[cell]) ? l_per_m2[cell] : 0;
  return { ...told, l_per_m2: values, sd_tenths, revision: 1, refused: 0 };
}

/** The litres that the picture holds. */
export function litresOf(dose) {
  return dose.l_per_m2.reduce((sum, value) => sum + value, 0) * dose.cell_m ** 2;
}

/** An empty way. */
export function emptyTrack() {
  return { east_m: [], north_m: [], spraying: [], box: { west_m: Infinity, south_m: Infinity, east_m: -Infinity, north_m: -Infinity } };
}

const inMetres = (values_mm) => Array.from(values_mm, (value_mm) => value_mm / 1000);

/** A message's points in metres, whether it tells them one by one or packed. */
function readPoints(message) {
  if (message.east_mm === undefined) return message;
  return { east_m: inMetres(unpack(message.east_mm, Int32Array)), north_m: inMetres(unpack(message.north_mm, Int32Array)),
    spraying: Array.from(unpack(message.spraying, Uint8Array)) };
}

/** The way after one message, with the box that it lies in. */
export function patchTrack(track, message) {
  const { east_m, north_m, spraying } = readPoints(message);
  const after = message.reset ? emptyTrack() : track;
  const { box } = after;
  for (let place = 0; place < east_m.length; place += 1) {
    after.east_m.push(east_m[place]);
    after.north_m.push(north_m[place]);
    after.spraying.push(spraying[place]);
    box.west_m = Math.min(box.west_m, east_m[place]);
    box.east_m = Math.max(box.east_m, east_m[place]);
    box.south_m = Math.min(box.south_m, north_m[place]);
    box.north_m = Math.max(box.north_m, north_m[place]);
  }
  return after;
}
