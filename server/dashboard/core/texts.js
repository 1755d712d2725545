// Every text of the pages, in one place: "place.what", {name} for what is filled in, "one|several" where a number n decides.
// What the service says of a job, a rule or an entry comes from the service as it is.

export const TEXTS = {
  // The frame round every page.
  "frame.start": "Start now?",
  "frame.fill": "Fill by fill",
  "frame.lawn": "On the lawn",
  "frame.got": "What it got",
  "frame.air": "What did the air do?",
  "frame.season": "What is due?",
  "frame.record": "The record",
  "frame.site": "My lawn",
  "frame.gear": "My gear",
  "frame.papers": "What a job rests on",
  "frame.wrong_passcode": "That is not the passcode.",
  "frame.passcode": "Passcode",
  "frame.which_passcode": "The one that was set when the service was started",
  "frame.go_in": "Go in",
  "frame.places": "Places",
  "frame.units": "Units",
  "frame.text": "Text",
  "frame.light": "Light",
  "frame.text_normal": "Normal",
  "frame.text_large": "Large",
  "frame.text_largest": "Largest",
  "frame.light_device": "As the device",
  "frame.light_sun": "Sun",
  "frame.light_dusk": "Dusk",
  "place.skip": "To the figures",
  "place.start": "Start now?",
  "place.fill": "Fill by fill",
  "place.lawn": "On the lawn",
  "place.got": "What it got",
  "place.record": "The record",
  "place.season": "Season",
  "place.air": "The air",
  "place.site": "My lawn",
  "place.gear": "My gear",
  "place.help": "Help",

  // First time: from nothing to the first test spray.

  // Figures, units and times, wherever they stand.

  // Start now?

  // On the lawn.

  // Alarm and sound.

  // Drawings of dose: keys, marks, text forms.

  // What it got.

  // The straightened lawn, and playing a job back.

  // Two jobs beside each other.

  // What to mend.

  // The record.

  // Season.

  // Fill by fill.

  // My lawn, and walking its edge.

  // My gear: sprayers and their checks.

  // My gear: the cup.

  // The air, and bringing readings along.

  // Cards: what people enter, in versions.

  // What a job rests on.
};
