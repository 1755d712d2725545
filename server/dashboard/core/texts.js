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
  "start.under_tenth": "under 1 in 10",
  "start.over_nine": "over 9 in 10",
  "start.tenths": "{tenths} in 10",
  "start.chance": "{tenths} that it stays under {limit} for the {minutes} minutes",
  "start.chance_left": "{tenths} that it stays under {limit} for the {minutes} minutes that are left",
  "start.looking": "Looking for the service…",
  "start.not_known": "Not known:",
  "start.not_yet": "Not known yet:",
  "start.unreached": "the service cannot be reached, what you see is old.",
  "start.service_looks": "the service is looking.",
  "start.silent_old": "the rig is silent, what you see is old.",
  "start.word_no_limit": "Not to be told:",
  "start.text_no_limit": "no wind limit is set. Take a treatment next whose product has one, or write the label's limit into My gear.",
  "start.word_no_rig": "Not known yet:",
  "start.text_no_rig": "no rig has been heard. Switch it on and let it stand in the yard for 70 minutes.",
  "start.word_silent": "Not known:",
  "start.text_silent": "the rig is silent. Look at its power and its link.",
  "start.word_no_date": "Not known yet:",
  "start.text_no_date": "the rig's receiver has told no date. Give it a free view of the sky, then let it stand in the yard for 70 minutes.",
  "start.word_no_wind": "Not known:",
  "start.text_no_wind": "there is no wind of the last minutes. Look at the anemometer and its settings in My gear.",
  "start.text_short": "let the rig stand in the yard for {wanted} minutes; {known} of them are there.",
  "start.no": "No:",
  "start.mean_above": "the last minute's mean, {mean}, is above the limit of {limit}.",
  "start.alarm_on": "the alarm is on. It goes off when it has been calm for a minute.",
  "start.ten_above": "the wind of the last 10 minutes was above the limit of {limit}.",
  "start.wait": "Better wait:",
  "start.watch": "Watch the wind:",
  "start.near_limit": "it is near the limit now; {chance}",
  "start.careful": "Careful:",
  "start.can_be_inversion": "{chance} But calm under a low sun can be an inversion.",
  "start.uncertain": "Uncertain:",
  "start.not_ready": "Calm, but the rig is not ready:",
  "start.see_below": "{chance} See what is wrong below.",
  "start.yes": "Yes, likely:",
  "start.at_height": " at {height}",
  "start.wind_now": "Wind now",
  "start.two_minutes": "Mean of the last 2 minutes",
  "start.gust": "Gust of 3 s, last 10 minutes",
  "start.range_one": "Nine times of ten the true chance is about {low} in 10.",
  "start.range": "Nine times of ten the true chance lies between {low} and {high} in 10.",
  "start.shared": "It is told from what many places share: this place's own wind counts from the second day on.",
  "start.own_days": "{n} day of wind at this place stand behind it.|{n} days of wind at this place stand behind it.",
  "start.long_means": "It speaks of means over {minutes} minutes: most of the history holds no others.",
  "start.not_said_before": "It has not said so here before.",
  "start.record": "Looking back over {n} day, every {every} minutes, it would have said so {said} times here for {minutes} minutes; {came_true} times it stayed calm.|Looking back over {n} days, every {every} minutes, it would have said so {said} times here for {minutes} minutes; {came_true} times it stayed calm.",
  "start.as_chosen": "{minutes} minutes, as you chose.",
  "start.lawn_takes": "The lawn takes about {total}.",
  "start.no_outline": "{minutes} minutes, as no outline of the lawn is set. Choose another length, or draw the lawn on My lawn.",
  "start.no_refill": "no refill",
  "start.refills": "{n} refill {minutes} min|{n} refills {minutes} min",
  "start.assumed": "{pace} (assumed)",
  "start.sum": "{area} at {pace}: walking {walk} min, turns {turns} min, {fills}.",
  "start.what_is_left": "What is left",
  "start.whole_lawn": "The whole lawn",
  "start.longest": "{minutes} minutes, the longest that can be told. {what} takes about {total}: {sum}",
  "start.minutes_for": "{minutes} minutes. {what}, {sum}",
  "start.stretches": "{minutes} minutes at a time, {n} day of the last 30|{minutes} minutes at a time, {n} days of the last 30",
  "start.few_days": "Not known yet: of fewer than three days nothing is called usual.",
  "start.no_hour": "No hour of the day ({stretches}).",
  "start.any_hour": "At any hour ({stretches}).",
  "start.span": "{from} to {to}",
  "start.and_from": "{first} and from {last}",
  "start.from_hours": "From {spans} ({stretches}).",
  "start.next_hour": "The next such hour begins about {hour}: there {tenths} stretches stayed calm.",
  "start.now_usual": "Now is such a time.",
  "start.no_sun": "Where the rig is or the date is not known: nothing can be said of the sun.",
  "start.sun_down": "The sun is down",
  "start.sun_high": "The sun stands {high}° high",
  "start.inversion_likely": "{sun} and the wind is below {bound}: this can be an inversion, in which fine spray hangs and drifts far. Wait for more wind or a higher sun. One anemometer cannot see an inversion: this is a caution, not a finding.",
  "start.inversion_could": "{sun}: less wind than {bound} could be an inversion, in which fine spray hangs and drifts far.",
  "start.inversion_no": "{sun}: no inversion is to be feared for now. In the evening, at night and in the early morning calm can be one.",
  "start.calm_since": "Calm long enough since {clock}.",
  "start.lull_closed": "The lull closed at {clock}.",
  "start.answer": "Answer",
  "start.own_length": "As long as the job needs",
  "start.length": "{minutes} minutes",
  "start.must_stay": "Must stay calm for",
  "start.not_changed": "Not changed. {reason}",
  "start.choose_next": "Choose site, treatment, sprayer, who",
  "start.what_next": "What is next",
  "start.first_site": "draw what to treat and what to keep out",
  "start.first_gear": "add the sprayer and calibrate it",
  "start.first_fill": "enter the product from its label, then the treatment",
  "start.first_colon": ": {what}",
  "start.first_time": "First time here?",
  "start.first_words": "From nothing to the first spray with water in ten minutes, step by step.",
  "start.begin_first": "Take me through it",
  "start.nothing_due": "Nothing is due.", // as the service says it
  "start.season": "Season",
  "start.to_lawn": "To the lawn: begin there",
  "start.to_running": "To the lawn: the job is running",
  "start.will_hold": "Will it hold?",
  "start.the_wind": "The wind now",
  "start.usual_hours": "When it is usually calm here",
  "start.no_forecast": "What was usual on the last days, no forecast.",
  "start.holds": "What holds you back",
  "start.look_first": "Look at this first",
  "start.in_order": "In order",
  "start.not_used": "Not used: {reason}.",
  "start.caution": "The product's label and the law of the place decide in what wind may be sprayed, and whether at all. Chances are told from past wind alone: look at the sky, and stop when in doubt.",

  // What holds a start back, and what is in order.
  "reason.name_link": "Rig",
  "reason.name_rig": "Rig",
  "reason.name_receiver": "Receiver",
  "reason.name_meter": "Flow meter",
  "reason.name_cup": "Wind cup",
  "reason.name_wind": "Wind",
  "reason.name_hold": "Will it hold",
  "reason.name_inversion": "Still air",
  "reason.name_spool": "Samples",
  "reason.name_disk": "Disk",
  "reason.name_clock": "Clock",
  "reason.name_sprayer": "Sprayer's calibration",
  "reason.name_calibrated_cup": "Cup's calibration",
  "reason.name_order": "Order of the season",
  "reason.name_papers": "What is next",
  "reason.state_shut": "holds you back",
  "reason.state_ajar": "wants a look",
  "reason.state_open": "in order",
  "reason.no_fix": "No position: what is sprayed now could not be placed.",
  "reason.do_fix": "Give it a free view of the sky and a minute or two.",
  "reason.slow_fixes": "{rate} fixes a second: too few to tell strips without corrections.",
  "reason.do_rate": "Set the receiver to 5 a second.",
  "reason.narrow": "A {fix} receiver was not tried at a swath as narrow as {swath}: do not count on being told of a strip left out.",
  "reason.told": "With this receiver ({fix}) a strip left out at a swath of {swath} is told in {most} of 10.",
  "reason.told_single": "Without corrections (single) a strip left out at a swath of {swath} is told in {most} of 10 under an ordinary sky, in {least} of 10 under a poor one.",
  "reason.do_look": "Mark your strips with string or foam, and look; it can still tell litres, pace and wind.",
  "reason.not_counted": "It has not counted since the rig was heard.",
  "reason.counted": "It counted {ago} ago.",
  "reason.do_squeeze": "Squeeze the trigger once over the bucket.",
  "reason.no_limit": "No wind limit is set.",
  "reason.do_limit": "Take a treatment next whose product has one, or write the label's limit into My gear.",
  "reason.wind": "Now {now}, last 2 minutes {two}, gust {gust}; limit {limit}.",
  "reason.too_much": "Too much: {why} {wind}",
  "reason.do_wait": "Wait; the page says when it is calm long enough.",
  "reason.do_cup": "Look at the anemometer and its settings.",
  "reason.do_gusts": "Start only if you can stop at once.",
  "reason.do_yard": "Let it stand there, in the open.",
  "reason.came_true": "Such a word came true here {came_true} of {said} times.",
  "reason.do_lull": "Wait for a lull, or do only the strips that fit.",
  "reason.do_few": "Begin where you can stop at the end of any strip.",
  "reason.do_inversion": "Wait for more wind or a higher sun.",
  "reason.waiting": "{span} of samples are still on the rig.",
  "reason.nothing_waits": "The service has all that the rig sent.",
  "reason.do_wait_spool": "Nothing is lost: let it catch up, nearer to the network.",
  "reason.free": "{free} GB are free where the service keeps its data.",
  "reason.do_disk": "Free the disk before you start.",
  "reason.clock_off": "This device's clock and the satellites' differ by {span}.",
  "reason.clock_agrees": "This device's clock and the satellites' agree to {span}.",
  "reason.do_clock": "Jobs go by the satellites; set this device's clock so that times on the page are right.",
  "reason.do_catch": "Catch the flow.",
  "reason.cup_never": "Never calibrated here: its speeds may be off by several per cent.",
  "reason.cup_days": "Calibrated {n} day ago.|Calibrated {n} days ago.",
  "reason.do_cup_line": "Calibrate it on a calm day.",
  "reason.step": "{name} on {day}{why}",
  "reason.before": "Planned before it: {steps}.",
  "reason.then": "Next: {steps}.",
  "reason.do_order": "Do these first, or change the plan.",
  "reason.papers": "What is chosen does not go: {problem}.",
  "reason.do_papers": "Choose anew.",
  "reason.do_fault_link": "Look at its power and its network.",
  "reason.do_fault_rig": "Put it right before you start.",
  "reason.do_fault_receiver": "Give it a free view of the sky; look at its cable.",
  "reason.do_fault_meter": "Look at its plug, then squeeze the trigger once over the bucket.",
  "reason.do_fault_cup": "See that it turns; look at its plug.",

  // The rope of wind and the strips against it.
  "rope.unknown": "No minute of the last half hour is known.",
  "rope.no_limit": "no limit is set",
  "rope.limit_is": "the limit is {limit}",
  "rope.to_come": "To come: {n} strip in {minutes} minutes.|To come: {n} strips in {minutes} minutes.",
  "rope.past": "Last {minutes} minutes: means of a minute from {low} to {high}, highest gust {gust}; {limit}.",
  "rope.none_fit": "Not one of {of} strips is likely to fit before the wind may be up.",
  "rope.all_fit": "The strip is likely to fit.|All {n} strips are likely to fit. Stop only at the end of a strip.",
  "rope.some_fit": "About {n} of {of} strips is likely to fit, {minutes} minutes from now on. Stop at the end of a strip.|About {n} of {of} strips are likely to fit, {minutes} minutes from now on. Stop at the end of a strip.",
  "rope.key": "Rope: the wind, its lower edge the means of a minute, as thick as the gusts above them. After now: a notch at the end of each strip, a gap for a refill; small ones may be too late.",
  "rope.ago": "{minutes} min ago",
  "rope.ahead": "in {minutes} min",
  "rope.now": "now",
  "rope.limit": "╌╌ limit {limit}",
  "rope.stop_here": "stop here",

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
