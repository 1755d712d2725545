// Elements with text set as text, never as markup.

/** An element with attributes, listeners (keys that begin with "on") and children (elements or text). */
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

/** Set an element's text only when it differs, so that nothing is redrawn or read out for nothing. */
export function setText(made, text) {
  if (made.textContent !== text) made.textContent = text;
}

/** Put other things in a place; a focus that was within goes to `next` (made to take it) instead of being lost. */
export function renew(place, next, ...children) {
  const hadFocus = place.contains(document.activeElement);
  place.replaceChildren(...children);
  if (hadFocus && !place.contains(document.activeElement)) next.focus();
}

/** A list of units to choose from. */
export function option(value, text, isChosen) {
  return element("option", { value, selected: isChosen }, text);
}
