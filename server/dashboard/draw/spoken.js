// A part that is read out when it says another thing, though what it shows may change each second.

import { beginSpoken, speak } from "../core/spoken.js";

/** Call what comes back with the part's words before they are shown, as often as the picture changes. */
export function makeSpoken(part) {
  let spoken = beginSpoken();
  let shown = "";
  return (text) => {
    const now = speak(spoken, text, performance.now());
    const isNews = now !== spoken;
    const live = isNews ? "polite" : "off";
    if (isNews || text !== shown) part.setAttribute("aria-live", live); // what is being read out is not cut short
    if (isNews && text === shown) part.replaceChildren(...part.childNodes); // it had to wait: come in anew, it is heard
    [spoken, shown] = [now, text];
  };
}
