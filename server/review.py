"""The review of a whole job: its raw samples through core, in both directions of time, repeatable to the byte."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from server.core.aids import PEG_SD_M, Visit
from server.core.coverage import read_figures, total_job
from server.core.cup import apparent_by_second
from server.core.dose import Deposit, integrate_dose
from server.core.ends import add_ends
from server.core.ensemble import map_dose
from server.core.findings import find_findings
from server.core.flow import VolumeCurve, find_spraying, gather_volume, litres_at
from server.core.geodesy import plane_at, plane_from_degrees
from server.core.grid import GridFrame, frame_around
from server.core.ground import Ground, lay_ground
from server.core.log import Floats, JobLog
from server.core.pairs import judge_pairs
from server.core.passes import PassSpan, measure_passes, split_passes
from server.core.polygons import rings_from_zone
from server.core.receiver import describe_receiver, judge_receiver
from server.core.results import Bools, CupShield, Interval, JobResult, Pair, Pass, Plane, Totals, Track
from server.core.setup import Peg, Setup
from server.core.shield import find_shield
from server.core.simex import correct_totals
from server.core.story import tell_story
from server.core.swath import pattern_from_sprayer
from server.core.timebase import Timebase, align_boots, count_missing, job_seconds
from server.core.track import plane_of, smooth_track
from server.core.wind import gather_seconds
from server.core.windverdict import judge_pass_winds, summarise_wind
from server.mending import plan_mending
from server.notes import write_notes
from server.sidework import Sidework, WindQuestion, is_worth_it

DRAWS = 64
NOISE_DRAWS = 8
"""Enough to know the size of the track's noise once the sampled tracks have been laid."""
MARGIN_M = 1.0
LARGEST_CELLS = 4_000_000
NOWHERE = Plane(0.0, 0.0)

Report = Callable[[str, float], None]
"""(what is being done, how much of the whole is done)."""


@dataclass(frozen=True, slots=True)
class Work:
    """Time, liquid and way of a job: what the steps of a review hand on."""

    timebase: Timebase
    curve: VolumeCurve
    intervals: tuple[Interval, ...]
    plane: Plane
    track: Track
    is_spraying: Bools


def review_job(log: JobLog, setup: Setup, *, report: Report | None = None) -> JobResult:
    """Compute a whole job; the same samples and settings give the same result to the last bit."""
    heard = log.wind.mono
    duration_s = float(np.ptp(heard)) if len(heard) else 0.0
    with Sidework(is_wanted=is_worth_it(duration_s)) as aside:
        return _review_beside(aside, log, setup, report or (lambda what, share: None))


def _review_beside(aside: Sidework, log: JobLog, setup: Setup, tell: Report) -> JobResult:
    """The job, with its wind asked of another program as soon as the rig's way is known."""
    seed = int(log.digest[:16], 16)
    rng = np.random.default_rng(seed)
    tell("track", 0.05)
    work = follow_job(log, setup, rng=rng)
    aside.ask(
        WindQuestion(
            log.wind,
            replace(work.track, deviations_m=work.track.deviations_m[:0]),
            work.timebase,
            setup.anemometer,
            setup.treatment,
            work.intervals,
            (seed, 1),
        )
    )
    tell("passes", 0.3)
    spans, pairs = pair_passes(work, setup)
    passes = _measure(log, setup, work, spans)
    tell("dose", 0.4)
    pattern, way = pattern_from_sprayer(setup.sprayer), add_ends(work.track, work.intervals)
    # From here on the sampled tracks, the largest thing here, are held once.
    work = replace(work, track=replace(work.track, deviations_m=work.track.deviations_m[:0].copy()))
    litres = litres_at(work.curve, way.t)
    deposit = _deposit(setup, work, way, litres)
    ground = lay_ground(setup.zones, plane=work.plane, frame=deposit.frame)
    drawn: list[list[float]] = []
    dose = map_dose(
        way,
        litres,
        deposit,
        pattern=pattern,
        treatment=setup.treatment,
        volume_sd_fraction=setup.flow_meter.sd_percent / 100.0,
        rng=rng,
        watch=lambda laid: drawn.append(read_figures(laid, ground, treatment=setup.treatment)),
    )
    way = replace(way, deviations_m=way.deviations_m[:NOISE_DRAWS].copy())
    tell("wind", 0.6)
    # Here, while the other program is still at the wind: it takes longer than the map.
    shield = _find_shield(log, setup, work)
    wind = aside.take()
    passes = judge_pass_winds(passes, wind, treatment=setup.treatment, plane=work.plane)
    tell("findings", 0.95)
    findings = find_findings(dose, ground, treatment=setup.treatment)
    totals = correct_totals(
        _total(setup, work, passes, deposit, ground),
        way,
        litres,
        ground,
        pattern=pattern,
        treatment=setup.treatment,
        drawn=np.array(drawn) if drawn else None,
    )
    start, end = _bounds(log, work.timebase)
    receiver_class = judge_receiver(work.track.quality, work.is_spraying)
    result = JobResult(
        rig=log.rig,
        boots=tuple(boot.name for boot in log.boots),
        plane=work.plane,
        start_utc=start + work.timebase.utc_offset_s,
        end_utc=end + work.timebase.utc_offset_s,
        totals=totals,
        receiver_class=receiver_class,
        track_sd_m=_median(work.track.sd_east_m),
        track=work.track,
        is_spraying=work.is_spraying,
        passes=passes,
        pairs=pairs,
        findings=findings,
        dose=dose,
        wind=wind,
        wind_summary=summarise_wind(wind),
        climate=_climate(log),
        messages={"read": log.receipt.read, "refused": log.receipt.refused, "duplicate": log.receipt.duplicate},
        missing=count_missing(log, work.timebase),
        notes=(),
        cup_shield=shield,
        wind_story=tell_story(wind, passes, work.intervals, work.curve, treatment=setup.treatment),
    )
    result = replace(result, touchup=plan_mending(result, setup, spans, ground))
    verdict = describe_receiver(receiver_class, pairs, swath_m=setup.sprayer.swath_m, rate_hz=_fix_rate(work.track))
    tell("done", 1.0)
    return write_notes(result, log, setup, receiver_verdict=verdict)


def meter_job(log: JobLog, setup: Setup) -> tuple[Timebase, VolumeCurve, tuple[Interval, ...]]:
    """The job's axis of time, its volume on the ground, and when it sprayed."""
    timebase = align_boots(log, latency_s=setup.receiver.latency_s)
    curve = gather_volume(log.flow, timebase, meter=setup.flow_meter, delay_s=setup.sprayer.delay_s)
    return timebase, curve, find_spraying(curve)


def follow_job(log: JobLog, setup: Setup, *, rng: np.random.Generator, draws: int = DRAWS) -> Work:
    """Time, liquid and way, with so many sampled tracks."""
    timebase, curve, intervals = meter_job(log, setup)
    plane = plane_of(log.fixes)
    if plane is None and setup.zones:
        lon, lat = setup.zones[0].rings[0][0]
        plane = plane_at(lat, lon)
    track = smooth_track(
        log.fixes,
        timebase,
        plane or NOWHERE,
        receiver=setup.receiver,
        sprayer=setup.sprayer,
        rng=rng,
        draws=draws,
        intervals=intervals,
        visits=_find_visits(log, setup, timebase, plane or NOWHERE),
        edges=tuple(ring for rings in _lay_rings(setup, plane or NOWHERE, "zone") for ring in rings),
    )
    is_spraying = np.zeros(len(track.t), dtype=np.bool_)
    for interval in intervals:
        is_spraying |= (track.t >= interval.start_t) & (track.t <= interval.end_t)
    return Work(timebase, curve, intervals, plane or NOWHERE, track, is_spraying)


def pair_passes(work: Work, setup: Setup) -> tuple[tuple[PassSpan, ...], tuple[Pair, ...]]:
    """The passes, and how neighbours lie to each other."""
    spans = split_passes(work.track, work.intervals)
    beds = _lay_rings(setup, work.plane, "keep_out")
    return spans, judge_pairs(work.track, spans, swath_m=setup.sprayer.swath_m, beds=beds)


def _lay_rings(setup: Setup, plane: Plane, kind: str) -> tuple[tuple[Floats, ...], ...]:
    """The rings of each zone, or each keep-out, on the plane."""
    return tuple(rings_from_zone(zone, plane=plane) for zone in setup.zones if zone.kind == kind)


def _find_visits(log: JobLog, setup: Setup, timebase: Timebase, plane: Plane) -> tuple[Visit, ...]:
    """When the operator said to stand at a peg: at which, if that was said, else the only or the nearest known one."""
    pressed = [happening for happening in log.happenings if happening.button == "peg"]
    if not pressed:
        return ()
    times = job_seconds(np.array([p.boot for p in pressed]), np.array([p.mono for p in pressed]), timebase).tolist()
    said = [str(p.detail.get("name") or "") if p.source == "operator" else "" for p in pressed]
    named = sorted(set(said) - {""})
    pegs = {peg.name: _survey(peg, plane) for peg in setup.pegs if peg.lat is not None}
    visits = []
    for t, name in zip(times, said, strict=True):
        at = name or (_nearest_peg(log, timebase, plane, pegs, t) if pegs else named[0] if len(named) == 1 else "")
        visits.append(Visit(t, at, *pegs[at]) if at in pegs else Visit(t, at))
    return tuple(visits)


def _survey(peg: Peg, plane: Plane) -> tuple[float, float, float]:
    """East, north and standard deviation of a surveyed peg."""
    east, north = plane_from_degrees(peg.lat or 0.0, peg.lon or 0.0, plane=plane)
    return float(east), float(north), peg.sd_m or PEG_SD_M


def _nearest_peg(
    log: JobLog, timebase: Timebase, plane: Plane, pegs: Mapping[str, tuple[float, float, float]], t: float
) -> str:
    """The surveyed peg nearest to the fix at a time."""
    fixed = np.flatnonzero(np.isfinite(log.fixes.lat_deg))
    if not len(fixed):
        return min(pegs)
    row = fixed[np.abs(job_seconds(log.fixes.boot, log.fixes.mono, timebase)[fixed] - t).argmin()]
    east, north = plane_from_degrees(float(log.fixes.lat_deg[row]), float(log.fixes.lon_deg[row]), plane=plane)
    return min(pegs, key=lambda name: float(np.hypot(pegs[name][0] - east, pegs[name][1] - north)))


def _find_shield(log: JobLog, setup: Setup, work: Work) -> CupShield | None:
    """The side from which the operator's body takes wind from the cup, where one can be told."""
    air = apparent_by_second(log.wind, work.timebase, anemometer=setup.anemometer)
    seconds = gather_seconds(air, work.track, work.intervals)
    return find_shield(seconds, anemometer=setup.anemometer).found


def _measure(log: JobLog, setup: Setup, work: Work, spans: tuple[PassSpan, ...]) -> tuple[Pass, ...]:
    """The passes' figures."""
    return measure_passes(
        work.track,
        spans,
        work.curve,
        timebase=work.timebase,
        boots=log.boots,
        sprayer=setup.sprayer,
        meter=setup.flow_meter,
        treatment=setup.treatment,
    )


def _deposit(setup: Setup, work: Work, way: Track, litres: Floats) -> Deposit:
    """The dose on the grid."""
    total = float(work.curve.litres[-1]) if len(work.curve.litres) else 0.0
    return integrate_dose(
        way.east_m,
        way.north_m,
        way.heading_deg,
        litres,
        t=way.t,
        pattern=pattern_from_sprayer(setup.sprayer),
        frame=_frame(setup, work),
        start_l=0.0,
        end_l=total,
    )


def _frame(setup: Setup, work: Work) -> GridFrame:
    """Cells round the zones and wherever liquid fell; coarser where that would be too many."""
    wet = work.is_spraying & np.isfinite(work.track.east_m)
    rings = [ring for zone in setup.zones for ring in rings_from_zone(zone, plane=work.plane)]
    corners = np.concatenate([np.zeros((0, 2)), *rings])
    east = np.concatenate((work.track.east_m[wet], corners[:, 0]))
    north = np.concatenate((work.track.north_m[wet], corners[:, 1]))
    if not len(east):
        east = north = np.zeros(1)
    cell = setup.grid.cell_m
    area = (np.ptp(east) + 4.0) * (np.ptp(north) + 4.0)
    while area / cell**2 > LARGEST_CELLS:
        cell *= 2.0
    return frame_around(east, north, margin_m=setup.sprayer.swath_m + MARGIN_M, cell_m=cell)


def _total(setup: Setup, work: Work, passes: tuple[Pass, ...], deposit: Deposit, ground: Ground) -> Totals:
    """The job's sums."""
    volume = float(work.curve.litres[-1]) if len(work.curve.litres) else 0.0
    speed = np.hypot(work.track.velocity_east_mps, work.track.velocity_north_mps)
    steps = np.diff(work.track.t)
    means = 0.5 * (speed[1:] + speed[:-1])
    is_near = (steps < 3.0) & np.isfinite(means)
    return total_job(
        deposit,
        ground,
        treatment=setup.treatment,
        volume_l=volume,
        volume_sd_l=volume * setup.flow_meter.sd_percent / 100.0,
        sprayed_s=sum(interval.end_t - interval.start_t for interval in work.intervals),
        distance_m=float((means * steps)[is_near].sum()),
        outside_passes_l=volume - sum(found.volume_l for found in passes),
    )


def _bounds(log: JobLog, timebase: Timebase) -> tuple[float, float]:
    """The job's first and last sample in job seconds."""
    times = [
        job_seconds(series.boot, series.mono, timebase)
        for series in (log.fixes, log.flow, log.wind, log.climate)
        if len(series.mono)
    ]
    if not times:
        return float("nan"), float("nan")
    return float(min(t.min() for t in times)), float(max(t.max() for t in times))


def _climate(log: JobLog) -> dict[str, dict[str, float]]:
    """The air at the start and at the end."""
    found = {}
    for name, place in (("start", 0), ("end", -1)):
        if len(log.climate.mono):
            found[name] = {
                "temperature_c": float(log.climate.temperature_c[place]),
                "humidity_percent": float(log.climate.humidity_percent[place]),
            }
    return found


def _fix_rate(track: Track) -> float:
    """Fixes a second."""
    return 1.0 / float(np.median(np.diff(track.t))) if len(track.t) > 2 else float("nan")


def _median(values: Floats) -> float:
    """The median of what is known."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")
