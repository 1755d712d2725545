// Whether the colours are told apart by everybody, and in grey, under node --test.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { LIGHTS, growthOf, schemeOf } from "../../server/dashboard/core/looks.js";
import { COLOUR_UNDER_GRAIN, DOUBLED_SHARE, oklabOfShare, srgbFromOklab } from "../../server/dashboard/core/scale.js";
import { Store } from "../../server/dashboard/store.js";

const SCHEMES = ["light", "dark"];
// Machado, Oliveira & Fernandes 2009, A physiologically-based model for simulation of color vision deficiency
// (doi 10.1109/TVCG.2009.113), their supplementary tables at severity 1.0; they work on linear RGB.
const VISIONS = {
  usual: [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
  protan: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deutan: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  tritan: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};
// Relative luminance and contrast: Web Content Accessibility Guidelines 2.2.
const LUMINANCE = [0.2126, 0.7152, 0.0722];

const linearOf = (bytes) => bytes.map((byte) => (byte / 255 <= 0.04045 ? byte / 255 / 12.92 : ((byte / 255 + 0.055) / 1.055) ** 2.4));
const dot = (row, values) => row.reduce((sum, part, place) => sum + part * values[place], 0);
const seenBy = (vision, bytes) => VISIONS[vision].map((row) => Math.min(1, Math.max(0, dot(row, linearOf(bytes)))));
const luminance = (bytes) => dot(LUMINANCE, linearOf(bytes));
const over = (front, back, part) => front.map((byte, place) => byte * part + back[place] * (1 - part));

/** Linear RGB in OKLab (Ottosson 2020, A perceptual color space for image processing). */
function oklabOf([red, green, blue]) {
  const l = Math.cbrt(0.4122214708 * red + 0.5363325363 * green + 0.0514459929 * blue);
  const m = Math.cbrt(0.2119034982 * red + 0.6806995451 * green + 0.1073969566 * blue);
  const s = Math.cbrt(0.0883024619 * red + 0.2817188376 * green + 0.6299787005 * blue);
  return [0.2104542553 * l + 0.793617785 * m - 0.0040720468 * s, 1.9779984951 * l - 2.428592205 * m + 0.4505937099 * s,
    0.0259040371 * l + 0.7827717662 * m - 0.808675766 * s];
}

function contrast(one, other) {
  const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
  return (high + 0.05) / (low + 0.05);
}

const gapFor = (vision, one, other) => Math.hypot(...oklabOf(seenBy(vision, one)).map((value, place) => value - oklabOf(seenBy(vision, other))[place]));
const colourOf = (share, scheme) => srgbFromOklab(oklabOfShare(share, scheme));

/** The colours by name of each block of the stylesheet that names them. */
function readInks() {
  const css = readFileSync(new URL("../../server/dashboard/styles/page.css", import.meta.url), "utf8");
  const blocks = [...css.matchAll(/:root[^{]*\{([^}]*--paper[^}]*)\}/g)];
  return blocks.map(([, block]) => Object.fromEntries([...block.matchAll(/--([\w-]+): #([0-9a-f]{6});/g)]
    .map(([, name, hex]) => [name, [0, 2, 4].map((place) => parseInt(hex.slice(place, place + 2), 16))])));
}

const [byDay, byNight, chosenNight] = readInks();
const INKS = { light: byDay, dark: byNight };

test("the model's rows leave white as it is", () => {
  for (const rows of Object.values(VISIONS)) for (const row of rows) assert.ok(Math.abs(dot(row, [1, 1, 1]) - 1) < 2e-6);
});

test("too little, on target and too much are three colours to every kind of colour vision", () => {
  for (const scheme of SCHEMES) {
    for (const vision of Object.keys(VISIONS)) {
      const [low, middle, high] = [0.5, 1, 1.5].map((share) => colourOf(share, scheme));
      // A step of 0.02 in OKLab is just seen (CSS Color 4 takes it so for mapping to a gamut); five of them are seen at a glance.
      for (const [one, other] of [[low, middle], [middle, high], [low, high]]) {
        assert.ok(gapFor(vision, one, other) > 0.1, `${scheme} ${vision} ${gapFor(vision, one, other)}`);
      }
    }
  }
});

test("a tenth of the target's dose more or less is seen as a step by every kind of colour vision", () => {
  for (const scheme of SCHEMES) {
    for (const vision of Object.keys(VISIONS)) {
      for (let share = 0; share < 1.95; share += 0.1) {
        const gap = gapFor(vision, colourOf(share, scheme), colourOf(share + 0.1, scheme));
        assert.ok(gap > 0.02, `${scheme} ${vision} ${share} ${gap}`);
      }
    }
  }
});

test("in grey a dose off target stands out, and the strokes tell on which side", () => {
  for (const scheme of SCHEMES) {
    for (const share of [0, DOUBLED_SHARE]) {
      const ratio = contrast(colourOf(share, scheme), colourOf(1, scheme));
      assert.ok(ratio > 2, `${scheme} ${share} ${ratio}`);
    }
  }
});

test("grain is read on the colour below it at any dose", () => {
  for (const scheme of SCHEMES) {
    const { ink, paper } = INKS[scheme];
    for (let share = 0; share <= 2; share += 0.05) {
      const ratio = contrast(ink, over(colourOf(share, scheme), paper, COLOUR_UNDER_GRAIN));
      assert.ok(ratio >= 3, `${scheme} ${share} ${ratio}`);
    }
  }
});

test("the crosses of doubled ground are read on every colour that they lie on", () => {
  for (const scheme of SCHEMES) {
    for (let share = DOUBLED_SHARE; share <= 2; share += 0.05) {
      const ratio = contrast(INKS[scheme].paper, colourOf(share, scheme));
      assert.ok(ratio >= 3, `${scheme} ${share} ${ratio}`);
    }
  }
});

test("lines and letters stand out from every ground of the page", () => {
  for (const scheme of SCHEMES) {
    const inks = INKS[scheme];
    for (const ground of ["paper", "lawn"]) {
      for (const name of ["ink", "soft", "accent", "stop"]) assert.ok(contrast(inks[name], inks[ground]) >= 4.5, `${scheme} ${name} on ${ground}`);
      for (const name of ["edge", "trail"]) assert.ok(contrast(inks[name], inks[ground]) >= 3, `${scheme} ${name} on ${ground}`);
    }
    assert.ok(contrast(inks["on-accent"], inks.accent) >= 4.5 && contrast(inks["on-stop"], inks.stop) >= 4.5, scheme);
  }
});

test("the dusk that is chosen is the device's own", () => {
  assert.deepEqual(chosenNight, byNight);
  const schemes = LIGHTS.map((light) => [false, true].map((isDark) => schemeOf(light, isDark)));
  assert.deepEqual(schemes, [["light", "dark"], ["light", "light"], ["dark", "dark"]]);
});

test("a drawing grows with the letters as far as it has room", () => {
  assert.deepEqual([[18, 390], [27, 390], [36, 390], [14, 390], [27, 36], [NaN, 390]].map(([letter_px, width_px]) => growthOf(letter_px, width_px)),
    [1, 1.5, 390 / 230, 1, 1, 1]);
});

test("a reader's choices are kept for the next visit, and none is made that is not offered", () => {
  const kept = new Map();
  const before = globalThis.localStorage;
  Object.defineProperty(globalThis, "localStorage", { configurable: true, value: {
    getItem: (key) => kept.get(key) ?? null, setItem: (key, value) => kept.set(key, value) } });
  const store = new Store();
  const told = [];
  for (const what of ["units", "text", "light"]) store.addEventListener(what, () => told.push(what));
  store.choose("text", "largest");
  store.choose("light", "dusk");
  store.choose("light", "moon");
  store.choose("units", "gal_per_acre");
  const next = new Store();
  assert.deepEqual([next.text, next.light, next.units, told], ["largest", "dusk", "gal_per_acre", ["text", "light", "units"]]);
  Object.defineProperty(globalThis, "localStorage", { configurable: true, value: before });
});
