"""The strips as they are walked, followed fix by fix: where each began and ended, and what was let out on it.

East, north in metres on the local plane, litres since the job began. Plain numbers, for this runs with every fix.
"""

from dataclasses import dataclass, replace
from math import atan2, degrees, hypot, isfinite

KEPT = 12
LEAST_M = 3.0
"""What is shorter is a step or a turn, not a strip."""
AIMED_M = 2.0
"""A direction from less way is the receiver's noise."""
TURNED_DEG = 60.0
BACK_M = 1.5
"""So far back from its furthest place the next strip has begun, also where no heading is told."""
ASIDE_SHARE = 0.5
"""A run that begins further aside than this share of the swath is another strip's."""

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Lane:
    """A strip: its ends [m], what had been let out at each [L], and the way with the spray on between them [m]."""

    begin_m: Point
    end_m: Point
    begin_l: float
    end_l: float
    sprayed_m: float = 0.0

    @property
    def length_m(self) -> float:
        """From end to end, with what was left out between."""
        return hypot(self.end_m[0] - self.begin_m[0], self.end_m[1] - self.begin_m[1])


@dataclass(frozen=True, slots=True)
class LaneBook:
    """The newest strips that are done, the present one, and its run of spraying (None: the spray is off)."""

    done: tuple[Lane, ...] = ()
    now: Lane | None = None
    run_from_m: Point | None = None
    run_before_m: float = 0.0


def step_lane(
    book: LaneBook, *, place_m: Point, heading_deg: float, litres: float, is_spraying: bool, swath_m: float
) -> LaneBook:
    """Take in one fix.

    A strip goes on after a stretch without spray as long as it goes on in its line: a bed is walked past.

    Parameters
    ----------
    book
        What was known before; `LaneBook()` at the start.
    place_m
        East and north of the nozzle [m]; NaN changes nothing.
    heading_deg
        Where it goes, clockwise from north [deg]; NaN where the receiver tells none: then only going back ends a strip.
    litres
        Let out since the job began [L].
    is_spraying
        Whether liquid flows.
    swath_m
        Swath [m].

    Returns
    -------
    LaneBook
        What is known now.

    References
    ----------
    Definition of this project. Derivation: limits measured on simulated jobs.

    Examples
    --------
    >>> book = LaneBook()
    >>> for way, east, heading in ((range(0, 21), 0.0, 0.0), (range(20, 9, -1), 1.0, 180.0)):
    ...     for north in way:
    ...         book = step_lane(book, place_m=(east, north), heading_deg=heading, litres=0.0, is_spraying=True,
    ...             swath_m=1.0)
    >>> book.done[0].length_m, book.now.length_m
    (20.0, 10.0)
    """
    if not (isfinite(place_m[0]) and isfinite(place_m[1])):
        return book
    if not is_spraying:
        return book if book.run_from_m is None else replace(book, run_from_m=None)
    lane = book.now
    if lane is None or _has_left(book, lane, place_m, heading_deg, swath_m):
        return LaneBook(_keep(book), Lane(place_m, place_m, litres, litres), place_m)
    run_from, before = book.run_from_m, book.run_before_m
    if run_from is not None and _ahead_m(lane, place_m) < 0.0:
        return replace(book, now=replace(lane, end_l=litres))  # a step back, or the receiver's noise
    if run_from is None:
        run_from, before = place_m, lane.sprayed_m
    sprayed = before + hypot(place_m[0] - run_from[0], place_m[1] - run_from[1])
    return LaneBook(book.done, replace(lane, end_m=place_m, end_l=litres, sprayed_m=sprayed), run_from, before)


def axis_of(lane: Lane) -> Point | None:
    """The direction of a strip.

    Parameters
    ----------
    lane
        The strip.

    Returns
    -------
    tuple or None
        East and north of a step of 1 m along it [-]; None where it is too short to have one.

    References
    ----------
    Derivation: the unit vector from end to end.

    Examples
    --------
    >>> axis_of(Lane((0.0, 0.0), (0.0, 8.0), 0.0, 0.3, 8.0))
    (0.0, 1.0)
    """
    length = lane.length_m
    if length < AIMED_M:
        return None
    return (lane.end_m[0] - lane.begin_m[0]) / length, (lane.end_m[1] - lane.begin_m[1]) / length


def _keep(book: LaneBook) -> tuple[Lane, ...]:
    """The strips that are done, with the present one if it was one."""
    if book.now is None or book.now.length_m < LEAST_M:
        return book.done
    return (*book.done, book.now)[-KEPT:]


def _has_left(book: LaneBook, lane: Lane, place_m: Point, heading_deg: float, swath_m: float) -> bool:
    """Whether a place with the spray on belongs to another strip than the present one."""
    axis = axis_of(lane)
    if axis is None:
        return book.run_from_m is None and hypot(place_m[0] - lane.end_m[0], place_m[1] - lane.end_m[1]) > AIMED_M
    if _turn_deg(axis, heading_deg) > TURNED_DEG or _ahead_m(lane, place_m) < -BACK_M:
        return True
    aside = (place_m[0] - lane.begin_m[0]) * axis[1] - (place_m[1] - lane.begin_m[1]) * axis[0]
    return book.run_from_m is None and abs(aside) > ASIDE_SHARE * swath_m


def _ahead_m(lane: Lane, place_m: Point) -> float:
    """How far a place lies beyond the strip's end; 0 where the strip has no direction yet."""
    axis = axis_of(lane) or (0.0, 0.0)
    return (place_m[0] - lane.end_m[0]) * axis[0] + (place_m[1] - lane.end_m[1]) * axis[1]


def _turn_deg(axis: Point, heading_deg: float) -> float:
    """The angle between a strip and a heading; 0 where no heading is told."""
    if not isfinite(heading_deg):
        return 0.0
    return abs((heading_deg - degrees(atan2(axis[0], axis[1])) + 180.0) % 360.0 - 180.0)
