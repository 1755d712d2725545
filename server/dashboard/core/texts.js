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

  // First time: from nothing to the first test spray.

  // Figures, units and times, wherever they stand.

  // Start now?

  // On the lawn.

  // The job's buttons, pressed by somebody else.
  "elsewhere.start": "Started on another page or on the rig.",
  "elsewhere.pause": "Paused on another page or on the rig.",
  "elsewhere.resume": "Going on: pressed on another page or on the rig.",
  "elsewhere.finish": "Finished on another page or on the rig.",

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
