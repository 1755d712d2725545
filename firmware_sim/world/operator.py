"""The person with the sprayer: where they walk, when they press the trigger and the buttons, and what they get wrong.

`lay_route` turns a `Plan` into a path with stops and spray spans along it; `walk_route` adds the pace and gives times.
"""

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from firmware_sim.curve import Floats, RateCurve, integrate_rate
from firmware_sim.noise import wander
from firmware_sim.world.lawn import Lawn, Point, clear_chords
from firmware_sim.world.path import Path, Pose, Segment, join_poses, line_between

STEP_S = 0.05
_PUSH_MPS2 = 0.8
_WEAVE_STEP_M = 5.0
_SAME_ANGLE = 1e-7


@dataclass(frozen=True, slots=True)
class Plan:
    """What the operator means to do, and the slips planned in.

    Lines run along `heading_deg` from `corner`, the first `first_line_m` to the right of it, `lines` of them
    `spacing_m` apart. `missed` lines are left out, `doubled` ones walked twice; after the lines in `spray_in_turn`
    the trigger stays pressed through the turn, after those in `overrun` it is released so many metres past the edge.
    `refill_after` lines the operator walks to the peg, `pause_after` they stand for so many seconds. Whole lines lie
    off by `scatter_m`; on the way the operator strays from them by `weave_m` (standard deviations).
    """

    corner: Point
    heading_deg: float
    lines: int
    spacing_m: float
    first_line_m: float
    pace_mps: float = 1.2
    scatter_m: float = 0.05
    weave_m: float = 0.0
    turn_radius_m: float = 0.45
    turn_room_m: float = 0.5
    spray_on_turns: bool = False
    inset_m: float = 0.0
    peg: Point | None = None
    perimeter: tuple[Point, ...] = ()
    missed: tuple[int, ...] = ()
    doubled: tuple[int, ...] = ()
    spray_in_turn: tuple[int, ...] = ()
    overrun: dict[int, float] = field(default_factory=dict)
    refill_after: tuple[int, ...] = ()
    pause_after: dict[int, float] = field(default_factory=dict)
    stand_first_s: float = 12.0
    stand_last_s: float = 12.0


@dataclass(frozen=True, slots=True)
class Stop:
    """Standing still at `at_m` along the path for `seconds`; buttons pressed so many seconds into it."""

    at_m: float
    seconds: float
    buttons: tuple[tuple[float, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Mistake:
    """A slip that was planned in: its kind, the line, and where: centre line from point to point, metres."""

    kind: str
    line: int
    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class Route:
    """Path, stops along it, spans along it in which the operator means to spray, and the slips."""

    path: Path
    stops: tuple[Stop, ...]
    sprays: tuple[tuple[float, float], ...]
    mistakes: tuple[Mistake, ...]


@dataclass(frozen=True, slots=True)
class Press:
    """A button pressed at scenario time `at_s`."""

    at_s: float
    name: str
    note: str


@dataclass(frozen=True, slots=True)
class Walk:
    """The route in time: distance along the path, trigger spans, buttons."""

    route: Route
    distance: RateCurve
    triggers: tuple[tuple[float, float], ...]
    presses: tuple[Press, ...]

    @property
    def duration_s(self) -> float:
        """When the walk ends."""
        return float(self.distance.t[-1])

    def poses_at(self, t: Floats) -> tuple[Floats, Floats, Floats]:
        """East, north, heading (radians) at times t, exactly."""
        return self.route.path.poses_at(self.distance.total_at(t))

    def velocity_at(self, t: Floats) -> tuple[Floats, Floats]:
        """East and north velocity at times t."""
        _, _, heading = self.poses_at(t)
        speed = self.distance.rate_at(t)
        return speed * np.sin(heading), speed * np.cos(heading)


class _Layer:
    """Collects segments, stops and spray spans while the route is laid."""

    def __init__(self, start: Pose, radius_m: float) -> None:
        self.pose, self.radius_m = start, radius_m
        self.segments: list[Segment] = []
        self.stops: list[Stop] = []
        self.sprays: list[tuple[float, float]] = []
        self.mistakes: list[Mistake] = []
        self.length_m = 0.0

    def add(self, *segments: Segment) -> None:
        """Go along segments."""
        for segment in segments:
            self.segments.append(segment)
            self.length_m += segment.length_m
            self.pose = segment.end

    def go_to(self, pose: Pose) -> None:
        """Walk the shortest way to a pose."""
        self.add(*join_poses(self.pose, pose, radius_m=self.radius_m))

    def stand(self, seconds: float, *buttons: tuple[float, str, str]) -> None:
        """Stand still."""
        self.stops.append(Stop(self.length_m, seconds, buttons))


def lay_route(plan: Plan, lawn: Lawn, rng: np.random.Generator) -> Route:
    """Lay the operator's route: to the first line, up and down, with refills and slips, to the end."""
    lines = _plan_lines(plan, lawn, rng)
    first = lines[0][1][0] if not plan.perimeter else plan.perimeter[0]
    away = plan.peg or (first[0] - 2.0, first[1] - 2.0)
    layer = _Layer((away[0], away[1], math.atan2(first[0] - away[0], first[1] - away[1])), plan.turn_radius_m)
    opening = [(1.0, "start", "")] + ([(4.0, "peg", "A")] if plan.peg else [])
    layer.stand(plan.stand_first_s, *opening)
    if plan.perimeter:
        _walk_perimeter(layer, plan.perimeter)
    for order, (number, ends, spans) in enumerate(lines):
        _walk_line(layer, plan, number, ends, spans, rng)
        if order + 1 < len(lines):
            _turn_round(layer, plan, number)
    if plan.peg:
        _walk_to_peg(layer, plan.peg)
        layer.stand(plan.stand_last_s, (4.0, "peg", "A"), (plan.stand_last_s - 2.0, "finish", ""))
    else:
        layer.stand(plan.stand_last_s, (plan.stand_last_s - 2.0, "finish", ""))
    layer.mistakes += [_note_missed(plan, lawn, number) for number in plan.missed]
    sprays = _fill_turns(layer.sprays, layer.stops) if plan.spray_on_turns else layer.sprays
    return Route(Path(layer.segments), tuple(layer.stops), tuple(sprays), tuple(layer.mistakes))


Line = tuple[int, tuple[Point, Point], list[tuple[float, float]]]


def _line_point(plan: Plan, number: int) -> Point:
    """Where a planned line crosses the base line through the corner."""
    h = math.radians(plan.heading_deg)
    right = plan.first_line_m + number * plan.spacing_m
    return plan.corner[0] + right * math.cos(h), plan.corner[1] - right * math.sin(h)


def _plan_lines(plan: Plan, lawn: Lawn, rng: np.random.Generator) -> list[Line]:
    """The lines as walked, with the operator's scatter: number, end points, spray spans from the first end."""
    order = [n for n in range(plan.lines) if n not in plan.missed]
    order = [n for number in order for n in ([number] * (2 if number in plan.doubled else 1))]
    lines = []
    for k, number in enumerate(order):
        h = math.radians(plan.heading_deg)
        base = _line_point(plan, number)
        shift = plan.scatter_m * rng.standard_normal()
        skew = 0.3 * plan.scatter_m * rng.standard_normal()
        start = (base[0] + (shift - skew) * math.cos(h), base[1] - (shift - skew) * math.sin(h))
        far = max(b for _, b in clear_chords(lawn, start=start, heading_rad=h))
        h += 2.0 * skew / far
        spans = [(a, b) for a, b in clear_chords(lawn, start=start, heading_rad=h) if b - a > 1.0]
        low, high = spans[0][0] + plan.inset_m, spans[-1][1] - plan.inset_m
        spans = [(max(a, low), min(b, high)) for a, b in spans]
        ends = tuple((start[0] + s * math.sin(h), start[1] + s * math.cos(h)) for s in (low, high))
        pieces = [(a - low, b - low) for a, b in spans]
        if k % 2:
            ends = (ends[1], ends[0])
            pieces = [(high - low - b, high - low - a) for a, b in reversed(pieces)]
        lines.append((number, (ends[0], ends[1]), pieces))
    return lines


def _walk_line(
    layer: _Layer,
    plan: Plan,
    number: int,
    ends: tuple[Point, Point],
    spans: list[tuple[float, float]],
    rng: np.random.Generator,
) -> None:
    """Walk one line, a run-up before and a run-out after it; spray on its spans."""
    line = line_between(*ends, line=number)
    run_up = 0.0 if plan.spray_on_turns else plan.turn_room_m
    start = line.pose_at(-run_up)
    layer.go_to(start)
    overrun = plan.overrun.get(number, 0.0)
    from_m = layer.length_m + run_up
    run_out = max(run_up, overrun + 0.4 if overrun else 0.0)
    straight = Segment(start[0], start[1], line.heading, 0.0, run_up + line.length_m + run_out, number)
    layer.add(*(_weave(straight, plan.weave_m, rng) if plan.weave_m else [straight]))
    layer.sprays += [(from_m + a, from_m + b) for a, b in spans]
    if overrun:
        layer.sprays[-1] = (layer.sprays[-1][0], layer.sprays[-1][1] + overrun)
        layer.mistakes.append(Mistake("overrun", number, ends[1], line.pose_at(line.length_m + overrun)[:2]))
    if number in plan.doubled and _walked_before(layer, number):
        layer.mistakes.append(Mistake("doubled", number, *ends))


def _weave(straight: Segment, weave_m: float, rng: np.random.Generator) -> list[Segment]:
    """A line as it is walked: every few metres aside by so much, with S-bends of two arcs between."""
    steps = max(1, round(straight.length_m / _WEAVE_STEP_M))
    ahead = straight.length_m / steps
    offsets = np.concatenate(([0.0], weave_m * rng.standard_normal(steps - 1), [0.0]))
    pieces, pose = [], straight.pose_at(0.0)
    for aside in np.diff(offsets).tolist():
        # Two equal arcs shift a line by `aside` over `ahead` metres: tan(angle / 2) = aside / ahead.
        angle = 2.0 * math.atan2(abs(aside), ahead)
        if angle < _SAME_ANGLE:
            pieces.append(Segment(*pose, 0.0, ahead, straight.line))
            pose = pieces[-1].end
            continue
        bend = math.copysign(2.0 * math.sin(angle) / ahead, aside)
        for sign in (1.0, -1.0):
            pieces.append(Segment(*pose, sign * bend, angle / abs(bend), straight.line))
            pose = pieces[-1].end
    return pieces


def _walked_before(layer: _Layer, number: int) -> bool:
    """Tell whether this line has been walked once already."""
    numbers = [-1, *(segment.line for segment in layer.segments)]
    return sum(after == number != before for before, after in pairwise(numbers)) > 1


def _turn_round(layer: _Layer, plan: Plan, number: int) -> None:
    """What happens between two lines: a pause, a walk to the peg, a trigger forgotten."""
    again = number in plan.doubled and not _walked_before(layer, number)
    if again:
        return
    if number in plan.pause_after:
        layer.stand(plan.pause_after[number])
    if number in plan.refill_after and plan.peg:
        _walk_to_peg(layer, plan.peg)
        layer.stand(25.0, (3.0, "peg", "A"), (5.0, "refill", ""))
    if number in plan.spray_in_turn:
        here = layer.length_m
        layer.sprays[-1] = (layer.sprays[-1][0], here + math.pi * plan.turn_radius_m)
        layer.mistakes.append(Mistake("sprayed_turn", number, layer.pose[:2], layer.pose[:2]))


def _walk_to_peg(layer: _Layer, peg: Point) -> None:
    """Walk to the peg and arrive facing the way one came."""
    heading = math.atan2(peg[0] - layer.pose[0], peg[1] - layer.pose[1])
    layer.go_to((peg[0], peg[1], heading))


def _walk_perimeter(layer: _Layer, corners: tuple[Point, ...], radius_m: float = 0.7) -> None:
    """Walk a closed lap with rounded corners, spraying all the way; its sides count as lines from -2 down."""
    sides = [line_between(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    start = sides[0].pose_at(radius_m)
    layer.go_to(start)
    from_m = layer.length_m
    for k, side in enumerate(sides):
        a = side.pose_at(radius_m)
        layer.go_to(a)
        layer.add(Segment(a[0], a[1], side.heading, 0.0, side.length_m - 2.0 * radius_m, -2 - k))
        if k + 1 < len(sides):
            following = sides[k + 1].pose_at(radius_m)
            bend = (following[2] - side.heading + math.pi) % (2.0 * math.pi) - math.pi
            layer.add(Segment(*layer.pose, math.copysign(1.0 / radius_m, bend), abs(bend) * radius_m))
    layer.sprays.append((from_m, layer.length_m))


def _note_missed(plan: Plan, lawn: Lawn, number: int) -> Mistake:
    """Where a missed line would have been."""
    start, h = _line_point(plan, number), math.radians(plan.heading_deg)
    spans = clear_chords(lawn, start=start, heading_rad=h)
    low, high = ((start[0] + s * math.sin(h), start[1] + s * math.cos(h)) for s in (spans[0][0], spans[-1][1]))
    return Mistake("missed", number, low, high)


def _fill_turns(sprays: list[tuple[float, float]], stops: list[Stop]) -> list[tuple[float, float]]:
    """Keep the trigger pressed between spans, except where there is a stop."""
    filled = sprays[:1]
    for a, b in sprays[1:]:
        if any(filled[-1][1] <= stop.at_m <= a for stop in stops):
            filled.append((a, b))
        else:
            filled[-1] = (filled[-1][0], b)
    return filled


def walk_route(route: Route, pace_mps: float, rng: np.random.Generator) -> Walk:
    """Walk the route at a varying pace, slower in turns, stopping at the stops; press trigger and buttons."""
    speeds, presses = _pace(route, pace_mps, rng)
    t = STEP_S * np.arange(len(speeds))
    distance = integrate_rate(t, speeds)
    triggers = []
    for a, b in route.sprays:
        on, off = distance.time_of(np.array([max(a, 1e-9), min(b, float(distance.total[-1]))]))
        late = np.clip(0.10 + 0.06 * rng.standard_normal(2), 0.0, 0.3)
        triggers.append((float(on + late[0]), float(off + late[1])))
    return Walk(route, distance, tuple(triggers), tuple(presses))


def _pace(route: Route, pace_mps: float, rng: np.random.Generator) -> tuple[Floats, list[Press]]:
    """The speed every STEP_S, and when the buttons are pressed."""
    path, stops = route.path, list(route.stops)
    upper = int((path.starts[-1] / (0.4 * pace_mps) + sum(s.seconds for s in stops) + 60.0) / STEP_S)
    sway = wander(rng, upper, step_s=STEP_S, time_scale_s=15.0, sd=0.05).tolist()
    wanted = [pace_mps * (0.75 if abs(s.bend) > 0.3 else 1.0) for s in path.segments]
    ends = path.starts[1:].tolist()
    speeds, presses, s, v, i = [0.0], [], 0.0, 0.0, 0
    standing = 0
    while len(speeds) < upper:
        if stops and standing == 0 and s >= stops[0].at_m - 0.02:
            stop = stops.pop(0)
            presses += [Press((len(speeds) - 1) * STEP_S + after, name, note) for after, name, note in stop.buttons]
            standing, v = round(stop.seconds / STEP_S), 0.0
        if standing:
            standing -= 1
            new = 0.0
        elif not stops:
            break
        else:
            while i < len(ends) - 1 and s >= ends[i]:
                i += 1
            brake = math.sqrt(2.0 * _PUSH_MPS2 * max(stops[0].at_m - s, 0.0)) + 0.03
            aim = min(wanted[i] * (1.0 + sway[len(speeds)]), brake)
            new = v + min(max(aim - v, -2.0 * _PUSH_MPS2 * STEP_S), _PUSH_MPS2 * STEP_S)
        s += 0.5 * (v + new) * STEP_S
        speeds.append(new)
        v = new
    return np.array(speeds), presses
