// The dose along the way, from the flow, the pace and the swath.

const LEAST_MPS = 0.3; // below a slow step the dose of a moment says nothing: it would grow without bound

/** Litres on a square metre at each moment; null where nothing flowed, nobody walked, or either is not known. */
export function laidDose({ flow_l_per_min, speed_mps }, swath_m) {
  return flow_l_per_min.map((flow, place) => {
    const speed = speed_mps[place];
    const isTold = Number.isFinite(flow) && flow > 0 && Number.isFinite(speed) && speed >= LEAST_MPS;
    return isTold ? flow / 60 / (speed * swath_m) : null;
  });
}

/** The median of what was told, and what nine tenths of it lie below; null where nothing was told. */
export function measureDose(laid) {
  const told = laid.filter((value) => value !== null).sort((a, b) => a - b);
  if (told.length === 0) return { median: null, high: null };
  const middle = Math.floor(told.length / 2);
  return { median: told.length % 2 === 1 ? told[middle] : (told[middle - 1] + told[middle]) / 2, high: told[Math.ceil(0.9 * told.length) - 1] };
}
