// The colours of the dose: blue below the target, brown above, stone at it. Straight lines in OKLab, with equal
// lightness at equal distance, so that equal differences look equal and no red is set against a green.

export const LEAST_SHARE = 0.1; // below a tenth of the target counts as missed
export const TOP_SHARE = 2;
export const DOUBLED_SHARE = 1.6;

const SCALES = {
  light: { low: [0.38, -0.035, -0.13], middle: [0.86, 0.002, 0.018], high: [0.38, 0.075, 0.075] },
  dark: { low: [0.78, -0.05, -0.115], middle: [0.4, 0.003, 0.012], high: [0.78, 0.055, 0.105] },
};

/** OKLab to sRGB bytes. */
export function srgbFromOklab([lightness, a, b]) {
  const l = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (lightness - 0.0894841775 * a - 1.291485548 * b) ** 3;
  return [
    4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s,
    -1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s,
    -0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s,
  ].map((linear) => {
    const held = Math.min(1, Math.max(0, linear));
    return Math.round(255 * (held <= 0.0031308 ? 12.92 * held : 1.055 * held ** (1 / 2.4) - 0.055));
  });
}

/** The OKLab colour of a dose as a share of the target (1 is on target), held between 0 and 2. */
export function oklabOfShare(share, scheme) {
  const { low, middle, high } = SCALES[scheme];
  const held = Math.min(TOP_SHARE, Math.max(0, share));
  const end = held < 1 ? low : high;
  const part = held < 1 ? 1 - held : (held - 1) / (TOP_SHARE - 1);
  return middle.map((value, place) => value + (end[place] - value) * part);
}

const STEPS = 256;

/** A table of red, green, blue for shares from 0 to 2, for filling images fast. */
export function makeRamp(scheme) {
  const ramp = new Uint8Array(STEPS * 3);
  for (let step = 0; step < STEPS; step += 1) {
    ramp.set(srgbFromOklab(oklabOfShare((step / (STEPS - 1)) * TOP_SHARE, scheme)), step * 3);
  }
  return ramp;
}

/** The ramp's step for a share. */
export function stepOfShare(share) {
  return Math.round((Math.min(TOP_SHARE, Math.max(0, share)) / TOP_SHARE) * (STEPS - 1));
}

/** How opaque the colour lies under the strokes: these are to be read on it at any dose. */
export const COLOUR_UNDER_GRAIN = 0.55;
