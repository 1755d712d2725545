"""`calmpass-sim`: scenarios and recordings as a rig, or as raw logs with their truth."""

import asyncio
import logging
import secrets
import time
from dataclasses import replace
from pathlib import Path

import click

from firmware_sim.bench import MONO_START_S, RigError, RigRun, run_rig, write_log
from firmware_sim.build import World, build_world
from firmware_sim.feed import Feed
from firmware_sim.playback import RecordingError, carry_along, read_nmea, read_way, read_wind
from firmware_sim.scenarios import PRACTICE, SCENARIOS, UTC_START
from firmware_sim.sensors.gnss import CLASSES, Receiver
from firmware_sim.setup import save_setup
from firmware_sim.truth import save_truth
from firmware_sim.world.practice import PracticePlan

CLASS = click.Choice(list(CLASSES))
FOLDER = click.Path(path_type=Path, file_okay=False)
FILE = click.Path(path_type=Path, exists=True, dir_okay=False)


class PlainGroup(click.Group):
    """Commands whose foreseeable troubles end the program in one line."""

    def invoke(self, context: click.Context) -> object:
        """Run a command."""
        try:
            return super().invoke(context)
        except (OSError, RecordingError, RigError) as error:
            raise click.ClickException(str(error)) from error


@click.group(cls=PlainGroup)
def main() -> None:
    """Play invented scenarios or real recordings through the device program."""
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s rig: %(message)s", datefmt="%H:%M:%S")


@main.command("list")
def list_scenarios() -> None:
    """List the scenarios."""
    width = max(map(len, SCENARIOS))
    for scenario in SCENARIOS.values():
        click.echo(f"{scenario.name:{width}}  {scenario.about}")


def _build(name: str, seed: int, klass: str | None, rate_hz: float | None, utc_start: float = UTC_START) -> World:
    """Play a scenario out by name; an unknown name ends the program with the known ones."""
    if name not in SCENARIOS:
        raise click.UsageError(f"no scenario {name!r}; there are {', '.join(SCENARIOS)}")
    return build_world(SCENARIOS[name], seed, receiver_class=klass, rate_hz=rate_hz, utc_start=utc_start)


def scenario_options(command: click.decorators.FC) -> click.decorators.FC:
    """The options that say which world to play."""
    command = click.option("--seed", default=1, show_default=True, help="Another seed is another day.")(command)
    command = click.option("--receiver", "klass", type=CLASS, help="Class of the receiver instead of the scenario's.")(
        command
    )
    return click.option("--rate", "rate_hz", type=click.FloatRange(0.5, 20.0), help="Fixes a second.")(command)


@main.command()
@click.argument("scenario")
@scenario_options
@click.option("--out", type=FOLDER, required=True, help="Where to write log, setup, lawn and truth.")
@click.option("--rig", default="sim", show_default=True, help="The rig's name.")
def log(scenario: str, seed: int, klass: str | None, rate_hz: float | None, out: Path, rig: str) -> None:
    """Write a scenario's raw log with its setup, lawn and truth, as fast as the machine can."""
    world = _build(scenario, seed, klass, rate_hz)
    out.mkdir(parents=True, exist_ok=True)
    count = _write(world.feed, out / "log.ndjson.gz", rig, f"{seed:016x}")
    save_setup(world.scenario, world.receiver.latency_s, out)
    save_truth(world, out, mono_start=MONO_START_S)
    click.echo(f"{out}: {count} messages, {world.feed.duration_s:.0f} s of work")


def _write(feed: Feed, file: Path, rig: str, boot: str) -> int:
    """Write a raw log with a bar that shows how far it has come."""
    done = 0
    with click.progressbar(length=int(feed.duration_s), label="writing") as bar:

        def report(at_s: float) -> None:
            nonlocal done
            if at_s >= done + 1.0:
                bar.update(int(at_s) - done)
                done = int(at_s)

        return write_log(feed, file, rig=rig, boot=boot, report=report)


def link_options(command: click.decorators.FC) -> click.decorators.FC:
    """The options that say how to reach the broker."""
    command = click.option("--broker", default="127.0.0.1:1883", show_default=True, help="HOST:PORT of the broker.")(
        command
    )
    command = click.option("--rig", default="sim", show_default=True, help="The rig's name.")(command)
    command = click.option(
        "--spool",
        type=click.Path(path_type=Path),
        default="spool.sqlite3",
        show_default=True,
        help="The rig's spool file.",
    )(command)
    return click.option("--pace", type=click.FloatRange(min=0.1), help="Times real time.")(command)


def _run(feed: Feed, broker: str, rig: str, spool: Path, pace: float, start_s: float = 0.0) -> None:
    """Run the device on a feed; errors end the program in one line."""
    host, _, port = broker.rpartition(":")
    if not port.isdigit() or not host:
        raise click.UsageError(f"--broker {broker}: HOST:PORT is wanted")
    try:
        is_settled = asyncio.run(run_rig(feed, RigRun(host, int(port), rig, spool, pace, start_s)))
    except KeyboardInterrupt:
        return
    if not is_settled:
        raise SystemExit(1)


@main.command("rig")
@click.argument("scenario")
@scenario_options
@link_options
@click.option("--from", "start_s", default=0.0, help="Start at this second of the scenario.")
@click.option("--started-at", type=float, help="UTC seconds at which the scenario began: the world went on meanwhile.")
def run_scenario(
    scenario: str, seed: int, klass: str | None, rate_hz: float | None, broker: str, rig: str, spool: Path,
    pace: float | None, start_s: float, started_at: float | None,
) -> None:  # fmt: skip
    """Run the real device program on a scenario, over a broker."""
    began = time.time() - start_s if started_at is None else started_at
    world = _build(scenario, seed, klass, rate_hz, began)
    pace = pace or world.scenario.pace
    start = start_s if started_at is None else (time.time() - started_at) * pace
    _run(world.feed, broker, rig, spool, pace, start)


@main.command()
@scenario_options
@link_options
@click.option("--minutes", default=20.0, show_default=True, help="So long it goes on.")
def practise(
    seed: int, klass: str | None, rate_hz: float | None, broker: str, rig: str, spool: Path, pace: float | None,
    minutes: float,
) -> None:  # fmt: skip
    """Run the device program with somebody who practises: water over a bucket, strips of ten steps, again and again."""
    plan = PracticePlan(minutes)
    world = build_world(PRACTICE, seed, receiver_class=klass, rate_hz=rate_hz, utc_start=time.time(), practice=plan)
    _run(world.feed, broker, rig, spool, pace or 1.0)


@main.command()
@click.argument("log", type=FILE)
@link_options
def nmea(log: Path, broker: str, rig: str, spool: Path, pace: float | None) -> None:
    """Run the device program on a receiver's recorded log (plain or gzip), at its own pace or faster."""
    _run(read_nmea(log), broker, rig, spool, pace or 1.0)


@main.command()
@click.argument("way", type=FILE)
@click.option("--wind", type=FILE, required=True, help="A sonic record (TOA5, 20 Hz).")
@click.option("--until", "until_s", default=900.0, show_default=True, help="Seconds of the way to use.")
@click.option("--receiver", "klass", type=CLASS, default="fixed", show_default=True, help="Class of the receiver.")
@click.option("--out", type=FOLDER, help="Write a raw log here instead of running over a broker.")
@link_options
def way(
    way: Path, wind: Path, until_s: float, klass: str, out: Path | None, broker: str, rig: str, spool: Path,
    pace: float | None,
) -> None:  # fmt: skip
    """Run the device program along a recorded way (CSV: t_s, x_m, y_m) in a recorded wind."""
    receiver = replace(Receiver(), klass=klass)
    feed = carry_along(read_way(way, until_s), read_wind(wind), receiver=receiver, seed=1)
    if out is None:
        _run(feed, broker, rig, spool, pace or 10.0)
        return
    out.mkdir(parents=True, exist_ok=True)
    count = _write(feed, out / "log.ndjson.gz", rig, secrets.token_hex(8))
    click.echo(f"{out}: {count} messages")


if __name__ == "__main__":
    main()
