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
  "drawn.missed": "missed",
  "drawn.doubled": "doubled or more",
  "drawn.off_target": "off the lawn",
  "drawn.keep_out": "in a keep-out",
  "drawn.gap": "gap: a strip seems missed",
  "drawn.unsure": "cannot tell how far apart",
  "drawn.target": "target {rate}",
  "drawn.colours": "Blue is too little, brown too much; the two marks are {low} and {high}.",
  "drawn.tuft_nothing": "nothing: missed",
  "drawn.tuft_little": "too little",
  "drawn.tuft_target": "on target",
  "drawn.tuft_unsure": "unsure",
  "drawn.blur": "A strip is {swath} wide, its edges good to ±\u00a0{sd}, drawn at one scale. {meaning}",
  "drawn.blur_unknown": "How well the receiver knows the way is not known.",
  "drawn.blur_sharp": "The way is known much better than a strip is wide: edges are where they are drawn.",
  "drawn.blur_some": "The way is known to a part of a strip: edges may lie a little beside where they are drawn.",
  "drawn.blur_much": "The way is known hardly better than a strip is wide: single gaps and edges on the map may not be there, or may be missing.",
  "drawn.map": "Drawing of the dose on the lawn, north up; the totals and findings say the same in words",
  "drawn.nothing": "Nothing was recorded",
  "drawn.minutes": "minutes",

  // What it got.
  "got.pass_before": "Pass before",
  "got.pass_after": "Pass after",
  "got.pass_none": "Look at no pass",
  "got.pass_looked": "The pass looked at",
  "got.pass_of": "Pass {pass} of {count}",
  "got.wind_within": "within the limit",
  "got.wind_above": "ABOVE the limit",
  "got.wind_unsure": "perhaps above the limit",
  "got.wind_unknown": "wind not known",
  "got.wind_was": "wind {speed} {verdict}",
  "got.pass_line": "{long}, {share} of target, {wind}",

  // The straightened lawn, and playing a job back.
  "straight.whole": "Show the whole job",
  "straight.play": "Play it back, {pace} times as fast",
  "straight.hold": "Hold",
  "straight.is_whole": "The whole job.",
  "straight.how": "How did it come about?",
  "straight.between": "between passes",
  "straight.in_pass": "pass {pass}",
  "straight.after": "After {span}: {doing}",
  "straight.pace": "pace {number}\u00a0{unit}",
  "straight.spraying": "spraying {flow}",
  "straight.not_spraying": "not spraying",
  "straight.so_far": "{volume} so far",
  "straight.wind_unknown": "wind not known then",
  "straight.wind_from": "wind as told then {speed} from the {from}",
  "straight.wind_then": "wind as told then {speed}",
  "straight.said_stop": "the alarm said STOP",
  "straight.gave_notice": "the alarm gave notice",
  "straight.scale": "{number} {unit} along a strip",
  "straight.no_pass": "No pass was found.",
  "straight.before": "This review was computed before strips were drawn side by side. Compute it again, at the foot of the page.",
  "straight.drawing": "The passes side by side in walking order; the list below says the same in words",
  "straight.words": "The strips in words",
  "straight.limit": "The dashed line beside it is the limit, {limit}.",
  "straight.print": "Print the strips",
  "straight.key": "One strip a pass, {swath} wide on the ground, in the order they were walked. As wide as the dots: on target; thinner got less, thicker got more, crossed is ground sprayed twice, bare is dry. White in a bracket: a gap towards a strip walked before. Short dashes there: cannot be told. The thread is the wind, further right is more.{limit} ▲ above the limit, ? cannot be said.",

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
  "mend.look_first": "Look at the ground before you spray it again: a strip missed can be sprayed tomorrow, a strip doubled cannot be undone. Label, wind and protection hold for a touch-up as for the job.",
  "mend.more": "and {more} more: they are on the drawing and in touchup.csv.",
  "mend.drawing": "Drawing of the lawn, north up: lines to walk again with their numbers; the list says the same in words",
  "mend.no_volume": "That is no volume that a tank holds.",
  "mend.left": "Left in the tank, {unit}",
  "mend.key": "Arrows: walk again. Crossed: leave alone. Short dashes: look for yourself.",
  "mend.alone": "Leave alone",
  "mend.label_unknown": "Whether that is beyond the label is not known: the job has no treatment with its label rate.",
  "mend.thin": "Got too little",
  "mend.looks": "Look for yourself",
  "mend.print": "Print this list",
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
