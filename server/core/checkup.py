"""What a sprayer's catch test comes to: pulses per litre with how well they are known, the meter's truth, wear.

Litres, litres per minute, pulses per litre.
"""

from dataclasses import dataclass, replace

import numpy as np

from server.core.catchtest import Agreement, Catch, CatchTest, Vessel, compare_meter, judge_catches, litres_from_weight
from server.core.checkcard import CatchEntry, Run
from server.core.entered import in_si
from server.core.errors import EntryError
from server.core.nozzle import Wear, judge_wear
from server.core.sprayercard import SprayerCard
from server.core.uncertainty import Estimate, coverage_factor

PRESSURE_SHARE = 0.025
"""Standard uncertainty of a gauge's reading as a share of it (common practice, no source)."""
_NORMAL = coverage_factor(float("inf"))


@dataclass(frozen=True, slots=True)
class CatchResult:
    """A catch test's figures, whether the meter agrees, and the nozzle's wear with what it was measured against."""

    test: CatchTest
    agreement: Agreement | None
    wear: Wear | None
    wear_by: str


def judge_catch(
    given: CatchEntry, *, card: SprayerCard, earlier_l_per_min: float | None = None, earlier_on: str = ""
) -> CatchResult:
    """A catch test against the sprayer's meter and its nozzle when new.

    Parameters
    ----------
    given
        The runs; each with its time, and pulses where the meter was counted.
    card
        The sprayer.
    earlier_l_per_min
        Flow of an earlier catch at the same pump setting [L/min]; None: there is none.
    earlier_on
        The day of that.

    Returns
    -------
    CatchResult
        Wear by the rated flow where the card has one, else against the earlier catch, else none.

    Raises
    ------
    EntryError
        If there are fewer than three runs, one lacks amount or time, or a catch is too small for its vessel.

    References
    ----------
    As `server.core.catchtest.judge_catches`, `compare_meter` and `server.core.nozzle.judge_wear`.

    Examples
    --------
    >>> from server.core.entered import Stated
    >>> card = SprayerCard("One", Stated(1, "m"), (450.0,))
    >>> runs = tuple(Run(Stated(2, "L"), seconds=60.0, pulses=count) for count in (989, 990, 991))
    >>> found = judge_catch(CatchEntry(runs, Stated(20, "mL")), card=card)
    >>> round(found.test.pulses_per_l.value, 1), found.agreement.verdict, round(found.agreement.excess, 2)
    (495.0, 'differ', 0.1)
    """
    test = judge_catches([_read_run(run, given) for run in given.runs], vessel=_read_vessel(given))
    return CatchResult(test, _compare(test, card), *_wear(test, given, card, earlier_l_per_min, earlier_on))


def meter_at(card: SprayerCard, *, flow_l_per_min: float) -> float:
    """Pulses per litre of a sprayer's meter at a flow, as its card has them.

    Parameters
    ----------
    card
        The sprayer.
    flow_l_per_min
        The flow [L/min].

    Returns
    -------
    float
        Pulses per litre [1/L]; straight between the table's points, level beyond them.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> from server.core.entered import Stated
    >>> meter_at(SprayerCard("One", Stated(1, "m"), (440.0, 460.0), flow_l_per_min=(1.0, 3.0)), flow_l_per_min=2.0)
    450.0
    """
    if not card.flow_l_per_min:
        return card.pulses_per_l[0]
    return float(np.interp(flow_l_per_min, card.flow_l_per_min, card.pulses_per_l))


def apply_catch(card: SprayerCard, found: CatchTest) -> SprayerCard:
    """A sprayer with the pulses per litre of a catch test; a table over the flow is scaled, and keeps its shape.

    Parameters
    ----------
    card
        The sprayer.
    found
        The catch test.

    Returns
    -------
    SprayerCard
        Its meter's standard uncertainty is a half of the interval of 95 % over 1.97, so that few runs count as such.

    Raises
    ------
    EntryError
        If pulses were not counted in every run.

    References
    ----------
    JCGM 100:2008 (GUM), G.3.

    Examples
    --------
    >>> from server.core.entered import Stated
    >>> runs = [Catch(2.0, 60.0, 990), Catch(2.0, 60.0, 991), Catch(2.0, 60.0, 989)]
    >>> card = SprayerCard("One", Stated(1, "m"), (450.0,))
    >>> made = apply_catch(card, judge_catches(runs, vessel=Vessel(0.02)))
    >>> made.pulses_per_l, made.meter_sd_percent
    ((495.0,), 0.65)
    """
    if found.pulses_per_l is None:
        raise EntryError("pulses", "were not counted in every run: there are no pulses per litre to put to use")
    ratio = found.pulses_per_l.value / meter_at(card, flow_l_per_min=found.flow_l_per_min.value)
    share = found.pulses_per_l.margin / found.pulses_per_l.value / _NORMAL
    meter = tuple(round(each * ratio, 3) for each in card.pulses_per_l)
    return replace(card, pulses_per_l=meter, meter_sd_percent=max(round(100.0 * share, 2), 0.1))


def _read_run(run: Run, given: CatchEntry) -> Catch:
    """A run in litres."""
    if (run.volume is None) == (run.weight is None):
        raise EntryError("catch", "give each run a volume or a weight")
    if run.seconds is None:
        raise EntryError("time", "give each run its time")
    return Catch(_litres_of(run, given), run.seconds, run.pulses)


def _litres_of(run: Run, given: CatchEntry) -> float:
    if run.volume is not None:
        return in_si(run.volume, measures="catch")
    assert run.weight is not None
    return litres_from_weight(in_si(run.weight, measures="catch weight"), temperature_c=given.temperature_c)


def _read_vessel(given: CatchEntry) -> Vessel:
    """The coarsest of what the runs were read by."""
    steps = []
    if any(run.volume is not None for run in given.runs):
        if given.step is None:
            raise EntryError("step", "is needed: the finest mark of the vessel")
        steps.append(in_si(given.step, measures="vessel step"))
    if any(run.weight is not None for run in given.runs):
        if given.scale_step is None:
            raise EntryError("scale_step", "is needed: the last digit of the scale")
        steps.append(in_si(given.scale_step, measures="scale step"))
    if not steps:
        raise EntryError("catch", "0 are too few: catch 3 times or more")
    return Vessel(max(steps), given.error_percent / 100.0)


def _compare(test: CatchTest, card: SprayerCard) -> Agreement | None:
    """Whether the meter as set tells as much as was caught; above: it tells too much."""
    found = test.pulses_per_l
    if found is None:
        return None
    meter = meter_at(card, flow_l_per_min=test.flow_l_per_min.value)
    told = Estimate(found.value / meter, found.value / meter * card.meter_sd_percent / 100.0)
    return compare_meter(Estimate(1.0, found.share, found.freedom), meter=told)


def _wear(
    test: CatchTest, given: CatchEntry, card: SprayerCard, earlier: float | None, on: str
) -> tuple[Wear | None, str]:
    """The nozzle's wear and against what it is told."""
    if card.rated_flow is not None:
        rated = in_si(card.rated_flow, measures="flow")
        if card.rated_pressure is None:
            return judge_wear(test.flow_l_per_min, rated_l_per_min=rated), "a new nozzle at this pump setting"
        if given.pressure is None:
            return None, ""
        pressure = in_si(given.pressure, measures="pressure")
        wear = judge_wear(
            test.flow_l_per_min,
            rated_l_per_min=rated,
            pressure_kpa=Estimate(pressure, PRESSURE_SHARE * pressure),
            rated_kpa=in_si(card.rated_pressure, measures="pressure"),
        )
        return wear, "a new nozzle at the same pressure"
    if earlier is None:
        return None, ""
    return judge_wear(test.flow_l_per_min, rated_l_per_min=earlier), f"the catch of {on} at this pump setting"
