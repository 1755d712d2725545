"""Where the tank will run dry, as far as strips, ground and tank tell it while the job goes on."""

from collections.abc import Mapping
from math import hypot, isfinite, nan
from typing import Any

from server.core.geodesy import plane_from_degrees
from server.core.lanes import LaneBook, Point, step_lane
from server.core.mix import TankLevel
from server.core.polygons import rings_from_zone
from server.core.reach import Reach, Site, foretell_dry, measure_use
from server.core.results import Plane
from server.core.setup import Setup
from server.core.tracker import TrackFilter
from server.snapshot import ReachPart, known

ANEW_S = 0.9
"""Foretold anew so often: an outline of many corners takes its time."""
LEAST_SHARE, USUAL_S = 0.3, 5.0
"""Less than this share of the usual flow, as it was over so long, is no spraying."""


class LiveReach:
    """Follows the strips and the pegs of one job; tells where the tank runs dry."""

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._book = LaneBook()
        self._flowed = (nan, 0.0)
        self._usual_l_per_s = 0.0
        self._pegs: dict[str, Point] = {}
        self._newest: str | None = None
        self._ground: tuple[Plane, Site] | None = None
        self._told: tuple[float, object, ReachPart | None] = (nan, None, None)

    def take(self, fix: TrackFilter, litres: float) -> None:
        """Follow one fix whose volume is known."""
        is_spraying = self._note_flow(fix.t, litres)
        # The heading of a receiver that tells no velocity swings too much to tell a turn.
        heading = nan if fix.places else fix.heading_deg
        self._book = step_lane(
            self._book,
            place_m=(fix.east_m, fix.north_m),
            heading_deg=heading,
            litres=litres,
            is_spraying=is_spraying,
            swath_m=self._setup.sprayer.swath_m,
        )

    def _note_flow(self, t: float, litres: float) -> bool:
        """Whether liquid flowed since the fix before: one pulse that is spread over a turn is none."""
        span_s, gained_l = t - self._flowed[0], litres - self._flowed[1]
        self._flowed = t, litres
        if not span_s > 0.0 or gained_l <= LEAST_SHARE * self._usual_l_per_s * span_s:
            return False
        self._usual_l_per_s += min(1.0, span_s / USUAL_S) * (gained_l / span_s - self._usual_l_per_s)
        return True

    def press_peg(self, detail: Mapping[str, Any], track: TrackFilter) -> None:
        """Here is a peg; its name is what was told with the button, if anything."""
        name = str(detail.get("name") or "").strip()
        if isfinite(track.east_m) and isfinite(track.north_m):
            self._pegs[name] = (track.east_m, track.north_m)
            self._newest = name

    def tell(self, track: TrackFilter, plane: Plane | None, level: TankLevel) -> ReachPart | None:
        """What can be told now; None where nothing is known of how much goes onto a metre, or the tank is empty."""
        key = plane, level.left_l.value
        if key == self._told[1] or track.t - self._told[0] < ANEW_S:
            return self._told[2]
        self._told = track.t, key, self._foretell(track, plane, level)
        return self._told[2]

    def _foretell(self, track: TrackFilter, plane: Plane | None, level: TankLevel) -> ReachPart | None:
        use = measure_use(self._book, wanted_l_per_m=self._setup.treatment.pass_l_per_m2 * self._setup.sprayer.swath_m)
        if use is None or plane is None or level.left_l.value <= 0.0:
            return None
        site = self._stand_at(track, plane)
        reach = foretell_dry(self._book, left_l=level.left_l, use=use, site=site)
        return _part_of(reach, self._find_peg(plane, reach.place_m))

    def _stand_at(self, track: TrackFilter, plane: Plane) -> Site:
        """The ground as it lies on the plane, and where the rig is on it."""
        if self._ground is None or self._ground[0] != plane:
            shapes = [(zone.kind == "zone", rings_from_zone(zone, plane=plane)) for zone in self._setup.zones]
            zones, outs = (tuple(rings for is_zone, rings in shapes if is_zone == kind) for kind in (True, False))
            self._ground = plane, Site(zones, outs, self._setup.sprayer.swath_m)
        is_known = isfinite(track.east_m) and isfinite(track.north_m)
        aims = isfinite(track.heading_deg) and not track.places
        ground = self._ground[1]
        return Site(
            ground.zones,
            ground.keep_outs,
            ground.swath_m,
            (track.east_m, track.north_m) if is_known else None,
            track.heading_deg if aims else None,
        )

    def _find_peg(self, plane: Plane, place_m: Point | None) -> tuple[str, float] | None:
        """The peg that was pressed last, else the nearest of those that were surveyed, and how far it is."""
        if place_m is None:
            return None
        if self._newest is not None:
            east, north = self._pegs[self._newest]
            return self._newest, hypot(east - place_m[0], north - place_m[1])
        ways = []
        for peg in self._setup.pegs:
            if peg.lat is None or peg.lon is None:
                continue
            east, north = (float(value) for value in plane_from_degrees(peg.lat, peg.lon, plane=plane))
            ways.append((hypot(east - place_m[0], north - place_m[1]), peg.name))
        return (min(ways)[1], min(ways)[0]) if ways else None


def _part_of(reach: Reach, peg: tuple[str, float] | None) -> ReachPart:
    """Rounded for the wire."""
    east, north = reach.place_m or (None, None)
    return ReachPart(
        way_m=round(reach.way_m, 1),
        way_sd_m=round(reach.way_sd_m, 1),
        is_between=reach.is_between,
        is_enough=reach.is_enough,
        lanes=reach.lanes,
        into_m=known(reach.into_m, 1),
        lane_m=known(reach.lane_m, 1),
        east_m=known(east, 2),
        north_m=known(north, 2),
        heading_deg=known(reach.heading_deg, 0),
        peg=peg[0] if peg is not None else None,
        back_m=known(peg[1], 1) if peg is not None else None,
    )
