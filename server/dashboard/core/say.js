// How the pages speak: a text of the catalogue, its figures filled in.

import { TEXTS } from "./texts.js";

const FORMS = new Intl.PluralRules("en");

/** The text of a key with `{name}` filled in from parts; of "one thing|several things" the form that goes with parts.n. */
export function say(key, parts = {}) {
  if (!Object.hasOwn(TEXTS, key)) throw new Error(`no text ${key}`);
  const forms = TEXTS[key].split("|");
  const text = forms.length === 1 ? forms[0] : forms[FORMS.select(parts.n) === "one" ? 0 : 1];
  return text.replace(/\{(\w+)\}/g, (_, name) => {
    if (!Object.hasOwn(parts, name)) throw new Error(`${key} wants ${name}`);
    return String(parts[name]);
  });
}
