"""Catching the flow in a vessel: flow, pulses per litre and how well they are known, and whether the meter agrees.

Litres, seconds, litres per minute, pulses per litre.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from server.core.entries import check_entry
from server.core.errors import EntryError
from server.core.uncertainty import Estimate, add_doubt, average_runs, coverage_of, multiply_powers

FEWEST_RUNS = 3
MOST_READING_SHARE = 0.02
"""Half a step of the vessel may be this share of a catch: a rate is to be right to 5 %, and there are other doubts."""
MOST_SPREAD = 0.05
"""More scatter of single runs than this asks for another look at pump and pressure (common practice, no source)."""
TIMING_S = 0.2
"""Standard uncertainty of a catch's time, started and stopped by hand (common practice, no source)."""
PULSE_SD = 1.0 / sqrt(6.0)
"""A count has a part of a pulse too few or too many at either end: triangular between -1 and 1."""
_SURE = 0.95


@dataclass(frozen=True, slots=True)
class Catch:
    """One run: litres caught in so many seconds, with the meter's pulses meanwhile (None: not counted)."""

    litres: float
    seconds: float
    pulses: int | None = None


@dataclass(frozen=True, slots=True)
class Vessel:
    """What it was caught in: its step [L] and the most that its scale may be wrong, as a share."""

    step_l: float
    most_error: float = 0.01


@dataclass(frozen=True, slots=True)
class CatchTest:
    """Mean flow [L/min], scatter of single runs as a share of it, pulses per litre (None: a run has no count).

    `is_steady` where the scatter is within 5 %.
    """

    flow_l_per_min: Estimate
    spread: float
    pulses_per_l: Estimate | None
    is_steady: bool


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far the meter is above the catch, as a share; over the standard uncertainty of that; and what it means.

    `verdict` is "agree", "differ" or "cannot tell", the last where the doubt itself is wider than 5 %.
    """

    excess: float
    z: float
    verdict: str


def judge_catches(catches: Sequence[Catch], *, vessel: Vessel, timing_s: float = TIMING_S) -> CatchTest:
    """Flow and pulses per litre from three or more catches at the setting of the work.

    Each run gives a flow and, with a count, pulses per litre; the mean's scatter (type A) is joined by what no
    repetition shows (type B): the vessel's step and scale, hand on the watch, ends of the count.

    Parameters
    ----------
    catches
        The runs [L, s, pulses].
    vessel
        Its step [L] and the most that its scale may be wrong, taken as rectangular.
    timing_s
        Standard uncertainty of a run's time [s].

    Returns
    -------
    CatchTest
        Flow [L/min] and pulses per litre [1/L] with standard uncertainties.

    Raises
    ------
    EntryError
        If there are fewer than three runs, a number is outside its limits, or a catch is too small for the vessel: half
        a step more than 2 % of it.

    Notes
    -----
    What the step, watch and count add is not divided by the number of runs: readings rounded to one mark are wrong
    together, and a hand may be late each time. So the uncertainty is a little too large rather than too small.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1 (rectangular distributions of resolution), equations 10 and 12.

    Examples
    --------
    >>> runs = [Catch(2.0, 60.0, 900), Catch(2.02, 60.0, 909), Catch(1.98, 60.0, 891)]
    >>> found = judge_catches(runs, vessel=Vessel(step_l=0.02))
    >>> round(found.flow_l_per_min.value, 3), round(found.flow_l_per_min.share, 4), round(found.spread, 3)
    (2.0, 0.0093, 0.01)
    >>> round(found.pulses_per_l.value, 1), round(found.pulses_per_l.share, 4)
    (450.0, 0.0065)
    """
    if len(catches) < FEWEST_RUNS:
        raise EntryError("catch", f"{len(catches)} are too few: catch {FEWEST_RUNS} times or more")
    _check_vessel(vessel)
    for catch in catches:
        _check_catch(catch, vessel)
    mean_l = sum(catch.litres for catch in catches) / len(catches)
    mean_s = sum(catch.seconds for catch in catches) / len(catches)
    read = vessel.step_l / sqrt(12.0) / mean_l
    scale = vessel.most_error / sqrt(3.0)
    flows = average_runs([60.0 * catch.litres / catch.seconds for catch in catches])
    shares = (read, scale, timing_s / mean_s)
    flow = add_doubt(flows, [share * flows.value for share in shares])
    spread = flows.share * sqrt(len(catches))
    return CatchTest(flow, spread, _count_pulses(catches, (read, scale)), spread <= MOST_SPREAD)


def least_catch(vessel: Vessel) -> float:
    """The smallest catch that a vessel tells well enough.

    Parameters
    ----------
    vessel
        Its step [L].

    Returns
    -------
    float
        25 steps [L].

    Raises
    ------
    EntryError
        If the step or error is outside its limits.

    References
    ----------
    Derivation: half a step is to be at most 2 %.

    Examples
    --------
    >>> least_catch(Vessel(step_l=0.1))
    2.5
    """
    _check_vessel(vessel)
    return vessel.step_l / 2.0 / MOST_READING_SHARE


def litres_from_weight(kilograms: float, *, temperature_c: float = 20.0) -> float:
    """How many litres of water a weighed catch is.

    Parameters
    ----------
    kilograms
        What a scale shows, less the empty vessel [kg].
    temperature_c
        Temperature of the water [°C], 0 to 40.

    Returns
    -------
    float
        Litres; within 0.01 % where the water is clean. The air's lift on a scale, 0.1 %, is counted.

    Raises
    ------
    EntryError
        If the temperature is outside 0 to 40 °C.

    References
    ----------
    Water's density after Kell, J. Chem. Eng. Data 20 (1975) 97, by a cubic about 4 °C through its values at 20 and
    40 °C (from memory); lift by air of 1.2 kg/m³ on scales set with weights of 8 kg/L: ISO 4787 (from memory).

    Examples
    --------
    >>> round(litres_from_weight(1.0, temperature_c=20.0), 4)
    1.0029
    """
    if not 0.0 <= temperature_c <= 40.0:
        raise EntryError("temperature", f"{temperature_c:g} °C is outside 0 to 40 °C")
    apart = temperature_c - 4.0
    density = 0.99997 - 7.637e-6 * apart**2 + 4.595e-8 * apart**3
    return kilograms / density * (1.0 - 0.0012 / 8.0) / (1.0 - 0.0012 / density)


def compare_meter(found: Estimate, *, meter: Estimate) -> Agreement:
    """Whether what the meter says agrees with what was caught.

    z is the difference over both standard uncertainties together.

    Parameters
    ----------
    found
        What was caught: flow [L/min], volume [L], or pulses per litre [1/L].
    meter
        The same by the meter as set.

    Returns
    -------
    Agreement
        "differ" where a difference of this size has at most one chance in twenty by their uncertainties; else "agree",
        or "cannot tell" where their 95 % doubt is wider than 5 %.

    Raises
    ------
    ValueError
        If one is not above 0, or nothing is uncertain.

    Notes
    -----
    For pulses per litre the sign turns: a meter set to too many pulses per litre tells too little.

    References
    ----------
    JCGM 100:2008 (GUM), equations 10 and G.2b; within 5 %: Pesticide Environmental Stewardship, spray gun.

    Examples
    --------
    >>> compare_meter(Estimate(2.0, 0.02), meter=Estimate(2.01, 0.02)).verdict
    'agree'
    >>> far = compare_meter(Estimate(2.0, 0.02), meter=Estimate(2.2, 0.02))
    >>> round(far.excess, 3), round(far.z, 2), far.verdict
    (0.1, 7.07, 'differ')
    """
    ratio = multiply_powers([(meter, 1.0), (found, -1.0)])
    sd = hypot(found.sd, meter.sd)
    if not sd > 0.0:
        raise ValueError("without uncertainties nothing can be compared: give at least one")
    z = (meter.value - found.value) / sd
    if coverage_of(z, freedom=_join_freedom(found, meter, sd)) > _SURE:
        verdict = "differ"
    else:
        verdict = "cannot tell" if ratio.margin > MOST_SPREAD else "agree"
    return Agreement(ratio.value - 1.0, z, verdict)


def _join_freedom(one: Estimate, other: Estimate, sd: float) -> float:
    """Degrees of freedom of a difference, after Welch and Satterthwaite."""
    spent = one.sd**4 / one.freedom + other.sd**4 / other.freedom
    return sd**4 / spent if spent > 0.0 else float("inf")


def _check_vessel(vessel: Vessel) -> None:
    """Refuse a vessel that cannot be meant."""
    check_entry("vessel step", vessel.step_l)
    check_entry("vessel error", vessel.most_error)


def _check_catch(catch: Catch, vessel: Vessel) -> None:
    """Refuse a run that cannot be meant, or that its vessel cannot tell."""
    check_entry("catch", catch.litres)
    check_entry("time", catch.seconds)
    if catch.pulses is not None:
        check_entry("pulses", catch.pulses)
    share = vessel.step_l / 2.0 / catch.litres
    if share > MOST_READING_SHARE * (1.0 + 1e-9):
        raise EntryError(
            "catch",
            f"{catch.litres:g} L in steps of {vessel.step_l:g} L may be off by {share:.1%}: catch at least "
            f"{least_catch(vessel):g} L, use a finer vessel or weigh it",
        )
    check_entry("flow", 60.0 * catch.litres / catch.seconds)


def _count_pulses(catches: Sequence[Catch], shares: tuple[float, float]) -> Estimate | None:
    """Pulses per litre, where every run has a count."""
    counted = [(catch.pulses, catch.litres) for catch in catches if catch.pulses is not None]
    if len(counted) < len(catches):
        return None
    found = average_runs([pulses / litres for pulses, litres in counted])
    ends = PULSE_SD * len(counted) / sum(pulses for pulses, _ in counted)
    return add_doubt(found, [share * found.value for share in (*shares, ends)])
