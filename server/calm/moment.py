"""What is known of one instant besides the stored wind, taken off the live picture."""

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite, nan

from server.calm.need import Need, NeedFinder
from server.core.setup import Setup
from server.live import Live

SILENT_S = 30.0
"""A rig that has not been heard for so long is silent."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant; NaN where not known.

    `mono` is the service's clock, `utc` the rig's date, `wall_utc` what the service's own machine takes for it. The
    limit holds at `height_m`, and so do the means.
    """

    mono: float
    utc: float
    wall_utc: float
    rig: str | None
    is_silent: bool
    limit_mps: float
    height_m: float
    lat_deg: float
    lon_deg: float
    mean_60s_mps: float
    mean_2min_mps: float
    need: Need


def take_moment(live: Live, needs: NeedFinder, *, now: Callable[[], float], wall: Callable[[], float]) -> Moment:
    """The instant of now."""
    setup, wind, wall_utc = live.setup, live.wind_now, wall()
    limit, clock = setup.treatment.wind_limit_mps, live.device_clock()
    lat, lon = _find_place(live, setup)
    return Moment(
        mono=now(),
        utc=nan if clock is None or clock[3] is None else clock[3],
        wall_utc=wall_utc,
        rig=live.rig,
        is_silent=live.rig is not None and not now() - live.last_live_mono < SILENT_S,
        limit_mps=nan if limit is None else limit,
        height_m=setup.treatment.wind_reference_height_m or setup.anemometer.height_m,
        lat_deg=lat,
        lon_deg=lon,
        mean_60s_mps=wind.mean_60s_mps,
        mean_2min_mps=wind.mean_2min_mps,
        need=needs.find(live, setup, wall_utc=wall_utc),
    )


def _find_place(live: Live, setup: Setup) -> tuple[float, float]:
    """Latitude and longitude of the lawn, or where the rig's way began; NaN where neither is known."""
    if setup.zones:
        ring = setup.zones[0].rings[0]
        return sum(lat for _, lat in ring) / len(ring), sum(lon for lon, _ in ring) / len(ring)
    plane = live.way.plane
    return (nan, nan) if plane is None else (plane.lat0_deg, plane.lon0_deg)


def is_placed(moment: Moment) -> bool:
    """Whether it is known where on the globe this is."""
    return isfinite(moment.lat_deg) and isfinite(moment.lon_deg)
