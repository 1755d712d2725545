"""The live way's areas, counted row by row, are those of the whole grid."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import wire
from server.core.geodesy import degrees_from_plane, plane_at
from server.core.ground import lay_ground
from server.core.setup import FlowMeter, Setup, Sprayer, Treatment, Zone
from server.liveway import LiveWay

PLANE = plane_at(45.0, -30.0)
BOOT = "a1b2c3d4e5f6a7b8"


def lawn() -> Zone:
    """A rectangle of 6 m by 12 m about the start."""
    corners = np.array([[-3.0, -2.0], [3.0, -2.0], [3.0, 10.0], [-3.0, 10.0], [-3.0, -2.0]])
    lat, lon = degrees_from_plane(corners[:, 0], corners[:, 1], plane=PLANE)
    return Zone("Lawn", "zone", (tuple(zip(lon.tolist(), lat.tolist(), strict=True)),))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(-1.5, 1.5), st.booleans()), min_size=3, max_size=60), st.integers(1, 9))
def test_areas_counted_row_by_row_are_those_of_the_whole_grid(steps: list[tuple[float, bool]], every: int) -> None:
    way = LiveWay(Setup(Sprayer(1.0), FlowMeter(1000.0), Treatment(0.02), zones=(lawn(),)))
    east = north = heading = 0.0
    pulses = 0
    for second, (turn, sprays) in enumerate(steps):
        heading += turn
        east, north = east + 1.2 * np.sin(heading), north + 1.2 * np.cos(heading)
        lat, lon = (float(v) for v in degrees_from_plane(east, north, plane=PLANE))
        course = float(np.degrees(heading) % 360.0)
        t = float(second)
        way.take_fix(t, wire.Position(BOOT, second, t, "fixed", t, lat, lon, 0.0, 1.2, course, 20, 0.6, 0.01, 0.01))
        pulses += 24 * sprays
        way.take_flow(t, wire.Flow(BOOT, second, t, pulses, t, 0))
        if second % every == 0:
            way.areas()
    way.track = way.track.__class__(t=way.track.t + 10.0)
    found, grid = way.areas(), way.grid
    is_covered = grid.dose > 0.1 * 0.02
    ground = lay_ground((lawn(),), plane=way.plane or PLANE, frame=grid.frame)
    assert found.covered_m2 == np.count_nonzero(is_covered) * grid.frame.cell_area_m2
    assert found.zone_m2 is not None
    assert found.left_m2 is not None
    done = float(ground.wanted[is_covered].sum()) * grid.frame.cell_area_m2
    assert abs(found.left_m2 - max(0.0, found.zone_m2 - done)) < 1e-9


def walk_strips(way: LiveWay, strips: int, length_m: float = 10.0) -> None:
    """Up and down from the start, a metre apart, 1.2 m/s, 0.05 L a metre, the spray off in turns."""
    t, pulses, place = 0.0, 0.0, (0.0, 0.0)
    for strip in range(strips):
        for step in range(round(length_m / 0.24)):
            along = 0.24 * (step + 1)
            place = float(strip), along if strip % 2 == 0 else length_m - along
            t, pulses = t + 0.2, pulses + 1000.0 * 0.05 * 0.24
            send(way, t, place, 180.0 * (strip % 2), pulses)
        for step in range(4):
            t += 0.2
            send(way, t, (strip + 0.25 * (step + 1), place[1]), 90.0, pulses)


def send(way: LiveWay, t: float, place: tuple[float, float], course: float, pulses: float) -> None:
    """A fix and a count."""
    lat, lon = (float(v) for v in degrees_from_plane(*place, plane=PLANE))
    number = round(5.0 * t)
    way.take_fix(t, wire.Position(BOOT, number, t, "fixed", t, lat, lon, 0.0, 1.2, course, 20, 0.6, 0.01, 0.01))
    way.take_flow(t, wire.Flow(BOOT, number, t, int(pulses), t, 0))


def test_where_the_tank_runs_dry_is_told_with_the_way_to_the_peg_that_was_pressed_last() -> None:
    way = LiveWay(Setup(Sprayer(1.0, tank_l=5.0), FlowMeter(1000.0), Treatment(0.05), zones=(lawn(),)))
    assert way.reach.tell(way.track, way.plane, way.tank_level) is None
    way.refill({"holds_l": 1.3})
    send(way, 0.0, (0.0, 0.0), 0.0, 0.0)
    way.press("peg", {"name": "A"}, is_now=True)
    way.press("peg", {"name": "B"}, is_now=False)
    walk_strips(way, 2)
    part = way.reach.tell(way.track, way.plane, way.tank_level)
    assert part is not None
    assert part.way_m == pytest.approx((1.3 - way.litres) / 0.05, rel=0.07)
    assert part.east_m == pytest.approx(2.0, abs=0.2), "on the strip after the turn"
    assert part.into_m == pytest.approx(part.way_m - 10.0 * part.lanes, abs=1.5)
    assert part.peg == "A", "of a button heard late nobody knows where it was pressed"
    assert part.east_m is not None
    assert part.north_m is not None
    assert part.back_m == pytest.approx(np.hypot(part.east_m, part.north_m), abs=0.1)


def test_an_empty_tank_foretells_nothing() -> None:
    way = LiveWay(Setup(Sprayer(1.0, tank_l=5.0), FlowMeter(1000.0), Treatment(0.05)))
    way.refill({"holds_l": 0.3})
    walk_strips(way, 2)
    assert way.tank_level.left_l.value == 0.0
    assert way.reach.tell(way.track, way.plane, way.tank_level) is None
