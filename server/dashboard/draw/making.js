// A line beside files that the service makes when they are asked for: nothing is seen to happen meanwhile.

import { say } from "../core/say.js";
import { element, setText } from "./element.js";

const SHOWN_MS = 8000;

/** The line, and what a link does when it is pressed: `onclick: making.tell(name)`. */
export function makeMaking() {
  const line = element("p", { class: "said", role: "status" });
  let timer = null;
  const clear = () => {
    clearTimeout(timer);
    removeEventListener("focus", clear);
    setText(line, "");
  };
  const tell = (name) => () => {
    clear();
    setText(line, say("frame.being_made", { name }));
    addEventListener("focus", clear); // the page is looked at again: the file is there, or it was left
    timer = setTimeout(clear, SHOWN_MS);
  };
  return { line, tell };
}
