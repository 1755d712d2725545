// Refusals of the service in words for people: no names of fields or of protocols.

/** What is wrong with a field, without the field's name before it: it stands at the field. */
export function tellAtField(detail, key) {
  const bare = (detail ?? "").replace(key ? `${key}: ` : "", "");
  return bare === "" ? "" : `${bare.charAt(0).toUpperCase()}${bare.slice(1)}${/[.?!]$/.test(bare) ? "" : "."}`;
}

/** A refusal in a sentence: what the service said; its title only where it said nothing more. */
export function tellProblem(title, detail, key) {
  return detail ? tellAtField(detail, /[._]/.test(key ?? "") ? key : null) : title;
}
