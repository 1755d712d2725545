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
  "frame.looking": "Looking…",

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
  "season.far_ahead": "{day} is {days} days ahead: is the year right? Press Save once more to keep it.",
  "season.long_ago": "{day} is {days} days ago: is the year right? Press Save once more to keep it.",
  "season.overdue": "Overdue",
  "season.due": "Due",
  "season.wait": "Wait",
  "season.conflict": "Against a rule",
  "season.later": "Later",
  "season.fact": "To know",
  "season.done": "Done",
  "season.planned": "Planned",
  "season.site_number": "site {number}",
  "season.from_here": "{title}: from here",
  "season.was_due": "{title}: was due by here",
  "season.until_here": "{title}: until here",
  "season.until_time": "{title}: until {time}",
  "season.reason": "Reason",
  "season.source": "Source",
  "season.against": "Against it",
  "season.against_source": "Source of that",
  "season.state_before": "{word}: ",
  "season.today": "today",
  "season.empty_month": "Nothing in this month.",
  "season.calendar": "Calendar",
  "season.month_before": "Month before",
  "season.this_month": "This month",
  "season.next_month": "Next month",
  "season.signs": "✓ done, □ planned, ▶ due, ■ overdue, ○ due later, ≠ against a rule",
  "season.take_back": "Take it back",
  "season.water": "Depth of water",
  "season.warmth": "Soil temperature",
  "season.depth": "Measured at a depth of",
  "season.written": "Written down: {what}, {time}.",
  "season.taken_back": "Taken back.",
  "season.not_written": "Not written down. {why}",
  "season.what_done": "What was done?",
  "season.mowed": "Mowed today",
  "season.cored": "Cored today",
  "season.watered": "Watered today",
  "season.rained": "It rained today",
  "season.is_mean": "It is the mean of 24 hours",
  "season.note_warmth": "Note the soil temperature",
  "season.other_days": "Other days, zones and works: in the journal below.",
  "season.your_decision": ": your decision",
  "season.was_done": "It was done",
  "season.why": "Why",
  "season.nothing": "Nothing is due, nothing to wait for.",
  "season.rest": "Later, and good to know: {count}",
  "season.waits": "Waits for {warmth}.",
  "season.waits_days": "Waits for {warmth} for {days} days.",
  "season.reached": "Reached on {day}, the larger dot.",
  "season.not_reached": "Not reached yet.",
  "season.warmth_by_days": "Soil temperature by days. {said}",
  "season.warm_day": "{day}: {warmth}",
  "season.warm_day_read": "{day}: {warmth}, one reading|{day}: {warmth}, {n} readings",
  "season.the_days": "The days",
  "season.journal": "Journal",
  "season.is_planned": "planned",
  "season.job": "job {number}",
  "season.only_newest": "Only the newest",
  "season.all_lines": "All {count} lines",
  "season.text_back": "Its own text is back.",
  "season.rules": "Rules",
  "season.not_in_use": "not in use",
  "season.back_to_text": "Back to the text it came with",
  "season.put_away": "{name}: put away.",
  "season.bring_back": "Bring it back",
  "season.rules_forbid_nothing": "Rules tell and ask, they forbid nothing. Labels go before them.",
  "season.days": "Days",
  "season.zone": "Time zone of the lawns",
  "season.zone_hint": "Area/City, UTC, or an offset as -05:00",
  "season.begins": "A season's maximum counts from month",
  "season.begins_hint": "1 to 12",
  "season.as_file": "What is due as a file for other calendars",
  "season.order": "In which order?",
  "season.planned_for": "(planned for {day})",
  "season.what_is_due": "What is due",
  "season.all_lawns": "All of them",
  "season.lawn": "Lawn",
  "season.soil": "How warm is the soil?",
  "season.now": "Now",
  "season.rules_summary": "The rules it goes by",
  "season.days_summary": "Days, and other calendars",
  "season.caution": "The product's label and the law of the place decide; what stands here is reckoned from what you entered.",

  // Fill by fill.

  // My lawn, and walking its edge.

  // My gear: sprayers and their checks.

  // My gear: the cup.

  // The air, and bringing readings along.

  // Cards: what people enter, in versions.
  "cards.no_number": "“{typed}” is not a number.",
  "cards.from_to": "{from} to {to}",
  "cards.needed": "needed",
  "cards.unit_of": "Unit of: {what}",
  "cards.choose": "choose",
  "cards.none": "none",
  "cards.take_out": "Take out",
  "cards.add_one": "Add one",
  "cards.add_sites": "Add a site",
  "cards.add_sprayers": "Add a sprayer",
  "cards.add_products": "Add a product",
  "cards.add_treatments": "Add a treatment",
  "cards.add_people": "Add a person",
  "cards.add_works": "Add a line",
  "cards.add_rules": "Add a rule",
  "cards.new_sites": "A new site",
  "cards.new_sprayers": "A new sprayer",
  "cards.new_products": "A new product",
  "cards.new_treatments": "A new treatment",
  "cards.new_people": "A new person",
  "cards.new_works": "A new line",
  "cards.new_rules": "A new rule",
  "cards.see_field": "Not saved: see the field that is marked.",
  "cards.not_saved": "Not saved. {why}",
  "cards.saved": "Saved.",
  "cards.put_away_kept": "Put away; jobs that rest on it keep it.",
  "cards.save": "Save",
  "cards.leave": "Leave as it was",
  "cards.put_away": "Put away",

  // What a job rests on.
};
