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

  // Alarm and sound.

  // Drawings of dose: keys, marks, text forms.

  // What it got.

  // The straightened lawn, and playing a job back.

  // Two jobs beside each other.
  "beside.title": "The same lawn, twice",
  "beside.looking": "Laying one on the other…",
  "beside.failed": "They cannot be laid beside each other: {problem}",
  "beside.back": "Back to one job",
  "beside.choose": "Beside another job",
  "beside.choose_none": "Choose a job",
  "beside.where": "Where did each go?",
  "beside.corner": "Is it always the same corner?",
  "beside.how_much": "How do they differ?",
  "beside.drawing": "Drawing of the dose of {name}, north up; the table below says the same in words",
  "beside.table": "Figures of both jobs",
  "beside.both": "Both",
  "beside.when": "Begun",
  "beside.liquid": "Liquid",
  "beside.target": "Wanted",
  "beside.mean": "Mean, of what was wanted",
  "beside.missed": "Missed",
  "beside.doubled": "Doubled or more",
  "beside.wind": "Wind",
  "beside.receiver": "Way known to",
  "beside.sd": "±\u00a0{sd}",
  "beside.pm": "{value} ±\u00a0{sd}",
  "beside.wind_words": "{mean}, gusts {gust}",
  "beside.none_missed": "Neither job missed any ground to speak of.",
  "beside.apart": "No ground was missed both times.",
  "beside.same_places": "{both} were missed both times. By chance it would be {chance}: the same places are left out again.",
  "beside.by_chance": "{both} were missed both times, hardly more than the {chance} that chance alone would share.",
  "beside.places": "Both are drawn at one place and scale. A spot of one can be found in the other to ±\u00a0{sd}; what is narrower may be the same or not.",
  "beside.places_unknown": "Both are drawn at one place and scale. How well their places agree is not known.",
  "beside.together": "Of {area} both together gave {on} what both wanted, {under} less and {over} more.",
  "beside.meaning": "Missed is below a tenth of the target, doubled from 1.6 times; under Both stands ground that was so both times. ± after litres is two standard deviations of the meter.",
  "beside.corner_none": "No part of the lawn was missed in this job.|No part of the lawn was missed in any of {n} jobs.",
  "beside.corner_once": "No: {place} was missed most, but in one of {n} jobs only.",
  "beside.corner_often": "Often: {place} was missed in part in {count} of {n} jobs.",
  "beside.corner_always": "Yes: {place} was missed in part in all {n} jobs.",
  "beside.at_south_west": "the south-west corner",
  "beside.at_south": "the south side",
  "beside.at_south_east": "the south-east corner",
  "beside.at_west": "the west side",
  "beside.at_middle": "the middle",
  "beside.at_east": "the east side",
  "beside.at_north_west": "the north-west corner",
  "beside.at_north": "the north side",
  "beside.at_north_east": "the north-east corner",

  // What to mend.
  "mend.from_left": "Its middle is {far} from the edge on your left.",
  "mend.from_right": "Its middle is {far} from the edge on your right.",
  "mend.takes": "About {span}.",
  "mend.pace": "Walk at {pace}, the pace of this job's passes, with the same nozzle and pressure.",
  "mend.pace_unknown": "Walk at the pace of the job, with the same nozzle and pressure.",
  "mend.most_broken": "{product} allows {times} times what was planned: ground that was not missed would get twice, beyond its label.",
  "mend.most_kept": "{product} allows {times} times what was planned.",
  "mend.most_unknown": "Read the label's most before you wet any ground twice.",

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
