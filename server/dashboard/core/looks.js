// How the pages look to the one who reads them: how large the letters are, and by which light.

export const TEXT_SIZES = ["normal", "large", "largest"];
export const LIGHTS = ["device", "sun", "dusk"];
export const FULL_SIZE_PX = 18; // letters of normal size where the browser's own size is left alone
const LEAST_ROOM_PX = 230; // a drawing that has less room than this says nothing any more

/** By how much a drawing grows with the letters round it; held back where it would have no room left to draw in. */
export function growthOf(letter_px, width_px) {
  const wanted = Number.isFinite(letter_px) ? letter_px / FULL_SIZE_PX : 1;
  return Math.max(1, Math.min(wanted, width_px / LEAST_ROOM_PX));
}

/** The scheme of colours of a chosen light; `isDeviceDark` is what the device asks for. */
export function schemeOf(light, isDeviceDark) {
  if (light === "sun") return "light";
  return light === "dusk" || isDeviceDark ? "dark" : "light";
}
