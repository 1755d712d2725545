// Whole numbers that come as base64 of their bytes, the lowest first, as this machine keeps them, too.

/** The numbers of a text, in a typed array of the given kind. */
export function unpack(text, Kind) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let place = 0; place < letters.length; place += 1) bytes[place] = letters.charCodeAt(place);
  return new Kind(bytes.buffer);
}
