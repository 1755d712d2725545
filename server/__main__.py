"""`calmpass`: serve the dashboard, replay a raw log, export a job, show the demo."""

import asyncio
import gc
import json
import logging
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from server.errors import ServiceError, SettingsError
from server.exports.unitsets import FIRST_SET, UNIT_SETS

if TYPE_CHECKING:
    from server.core.log import JobLog
    from server.core.results import JobResult
    from server.core.setup import Setup
    from server.link import LinkSettings
    from server.store.connection import Connection
    from server.store.jobs import Job

NICENESS = 10
DATABASE = "calmpass.sqlite3"
PORT = 8460
FILE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False)
UNITS = click.option(
    "--units", type=click.Choice(list(UNIT_SETS)), default=FIRST_SET, show_default=True, help="Units of the pictures."
)
Report = Callable[[str, float], None]


class OneLine(click.Group):
    """A group whose commands report every known error in one line."""

    def invoke(self, ctx: click.Context) -> object:
        """Run the command."""
        try:
            return super().invoke(ctx)
        except ServiceError as error:
            raise SystemExit(f"calmpass: {error}") from error


@click.group(cls=OneLine)
@click.version_option(package_name="calmpass")
def main() -> None:
    """What a lawn sprayer on foot really applied, where, and under what wind."""
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(message)s", datefmt="%H:%M:%S")


@main.command()
@click.option("--setup", "setup_file", type=FILE, help="Settings of the next job (SETUP.toml); else those saved last.")
@click.option("--database", type=FILE, default=DATABASE, show_default=True, help="Where everything is kept.")
@click.option("--broker", default="127.0.0.1:1883", show_default=True, help="HOST:PORT of the MQTT broker.")
@click.option("--user", help="User name at the broker.")
@click.option("--password-file", type=FILE, help="File that holds the password at the broker.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; others ask for a passcode.")
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="Port of the dashboard.")
@click.option("--passcode-file", type=FILE, help="File that holds the passcode of the dashboard.")
@click.option(
    "--keep-hours",
    type=click.FloatRange(1.0),
    default=48.0,
    show_default=True,
    help="So many recorded hours of raw messages outside jobs are kept.",
)
@click.option("--keep-all", is_flag=True, help="Keep all raw messages for ever.")
@click.option(
    "--stands",
    is_flag=True,
    help="The rig is parked for good: record the wind at its cup also while no receiver says that it stands.",
)
def serve(
    setup_file: Path | None, database: Path, broker: str, user: str | None, password_file: Path | None, host: str,
    port: int, passcode_file: Path | None, keep_hours: float, keep_all: bool, stands: bool,
) -> None:  # fmt: skip
    """Take in what the rig sends, keep it, and serve the dashboard."""
    # What is imported stays: looking for garbage in it takes a tenth of the start, and again and again later.
    gc.disable()
    from server.serving import ServeSettings, check_address
    from server.serving import serve as run

    settings = ServeSettings(
        database=database,
        broker=read_broker(broker, user, password_file),
        host=host,
        port=port,
        passcode=read_secret(passcode_file, "--passcode-file"),
        setup=read_start_setup(setup_file),
        is_setup_given=setup_file is not None,
        keep_s=None if keep_all else 3600.0 * keep_hours,
        stands=stands,
    )
    check_address(settings)
    click.echo(f"Dashboard: http://{host}:{port}/")
    asyncio.run(run(settings))


@main.command()
@click.argument("log", type=FILE)
@click.option("--setup", "setup_file", type=FILE, required=True, help="Settings of the job (SETUP.toml).")
@click.option("--out", type=FOLDER, required=True, help="Where to write the results.")
@UNITS
def replay(log: Path, setup_file: Path, out: Path, units: str) -> None:
    """Compute a whole job from its raw log (plain or gzip)."""
    from server.rawlog import gather_log, read_raw_log
    from server.settings import read_setup

    setup = read_setup(setup_file)
    job_log = gather_log(read_raw_log(log), setup.job)
    result = with_progress(lambda report: review(job_log, setup, report))
    write_results(result, setup, job_log, out, units)
    click.echo(f"{out}: {len(result.passes)} passes, {result.totals.volume_l:.2f} L")


@main.command()
@click.option("--job", "number", type=int, required=True, help="Number of the job.")
@click.option("--database", type=FILE, default=DATABASE, show_default=True, help="The service's database.")
@UNITS
@click.argument("folder", type=FOLDER)
def export(number: int, database: Path, folder: Path, units: str) -> None:
    """Write a job's raw log, settings, lawn, results and record."""
    from server.rawlog import write_raw_log
    from server.settings import write_setup
    from server.store.connection import open_reader
    from server.store.joblog import iterate_received, load_job_log
    from server.store.jobs import find_job

    check_database(database)
    connection = open_reader(database)
    job = find_job(connection, number)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        count = write_raw_log(folder / "log.ndjson.gz", iterate_received(connection, job.span))
        write_setup(job.setup, folder)
    except OSError as error:
        raise SettingsError(f"{folder}: cannot be written ({error.strerror})") from error
    job_log = load_job_log(connection, job.span)
    result = with_progress(lambda report: review(job_log, job.setup, report))
    write_results(result, job.setup, job_log, folder, units)
    write_record(connection, job, database, folder, units)
    click.echo(f"{folder}: job {number}, {count} messages, {len(result.passes)} passes")


@main.command()
@click.option("--units", type=click.Choice(tuple(UNIT_SETS)), default=FIRST_SET, show_default=True)
def pdf(units: str) -> None:
    """Print the record that is told as JSON, as the API gives it, as a PDF file."""
    step_back()
    from server.exports.recordpdf import write_pdf

    sys.stdout.buffer.write(write_pdf(json.load(sys.stdin), UNIT_SETS[units]))


@main.command()
@click.option("--job", "number", type=int, required=True, help="Number of the job.")
@click.option("--database", type=FILE, default=DATABASE, show_default=True, help="The service's database.")
def strips(number: int, database: Path) -> None:
    """Judge the strips of a job so far, and print the verdicts as JSON."""
    step_back()
    from server.store.connection import open_reader
    from server.store.joblog import load_job_log
    from server.store.jobs import find_job
    from server.verdicts import judge_strips

    check_database(database)
    connection = open_reader(database)
    job = find_job(connection, number)
    click.echo(json.dumps(judge_strips(load_job_log(connection, job.span), job.setup), separators=(",", ":")))


@main.command()
@click.option("--limit-mps", type=click.FloatRange(0.1, 40.0), required=True, help="The wind limit.")
@click.option("--height-m", type=click.FloatRange(0.1, 30.0), required=True, help="The height at which it holds.")
@click.option("--lon", type=click.FloatRange(-180.0, 180.0), default=float("nan"), help="Longitude, for hours of day.")
@click.option("--now", type=click.IntRange(0), help="Seconds since 1970 (UTC); else this machine's clock.")
@click.option("--database", type=FILE, default=DATABASE, show_default=True, help="The service's database.")
def outlook(limit_mps: float, height_m: float, lon: float, now: int | None, database: Path) -> None:
    """Look through the stored wind for what it teaches about calm, and print that as JSON."""
    step_back()
    import time

    from server.calm.fits import Question, fit_place, lay_out_fits
    from server.store.connection import open_reader

    check_database(database)
    question = Question(limit_mps, height_m, lon, time.time() if now is None else float(now))
    click.echo(json.dumps(lay_out_fits(fit_place(open_reader(database), question)), separators=(",", ":")))


@main.command()
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="Port of the dashboard.")
@click.option("--pace", type=click.FloatRange(0.5, 20.0), help="Times real time.")
@click.option("--folder", type=FOLDER, help="Where to keep the demo's files; else a folder that goes afterwards.")
@click.option("--once", is_flag=True, help="End when the job and its review are done.")
@click.option("--practise", is_flag=True, help="Nothing entered, and a rig with water to practise a first time on.")
def demo(port: int, pace: float | None, folder: Path | None, once: bool, practise: bool) -> None:
    """Show a whole invented job: an embedded broker, a simulated rig and the dashboard."""
    from server.demo import DemoSettings, run_demo

    run_demo(DemoSettings(port, pace, folder, once, practise))


@main.group()
def history() -> None:
    """The wind of the past."""


@history.command("import")
@click.argument("file", type=FILE)
@click.option("--name", help="What the readings are called; else the file's name.")
@click.option("--database", type=FILE, default=DATABASE, show_default=True, help="The service's database.")
@click.option("--look", is_flag=True, help="Only tell how the file would be read, and what it does not say.")
@click.option("--json", "is_json", is_flag=True, help="Print the report as JSON.")
@click.option("--mapping", "mapping_file", type=FILE, help="JSON file that tells everything; nothing is looked for.")
@click.option("--time", multiple=True, help="Column of the time, by name or number; twice for date and time of day.")
@click.option("--speed", help="Column of the mean speed.")
@click.option("--gust", help="Column of the gust, or none.")
@click.option("--direction", help="Column of the direction, or none.")
@click.option("--flag", help="Column of a quality flag, or none.")
@click.option("--good-flags", multiple=True, help="Flag of good rows.")
@click.option("--unit", help="Unit of the speeds: m/s, km/h, mph, kn or ft/min.")
@click.option("--missing", type=float, multiple=True, help="Number that stands for a missing speed.")
@click.option("--separator", help="What stands between fields.")
@click.option("--decimal", help="Decimal mark: point or comma.")
@click.option("--date-order", help="ymd, dmy, mdy, day_of_year, epoch_s or epoch_ms.")
@click.option("--zone", help="Time zone: UTC, -05:00, or an IANA name (Area/City).")
@click.option("--stamp", help="Whether times mark the begin or the end of their interval.")
@click.option("--height-m", type=float, help="Height of the instrument above the ground, m.")
@click.option("--first-line", type=int, help="Number of the first line of readings.")
def import_history(
    file: Path, name: str | None, database: Path, look: bool, is_json: bool, mapping_file: Path | None, **told: object
) -> None:
    """Bring wind readings along: any table of times and speeds, plain or gzip.

    The database may be that of a running service, and is made where there is none.
    """
    step_back()
    from server.history.importer import import_file, store_import
    from server.history.telling import print_look, print_report, read_told, tell_refusal

    with tell_refusal(is_json=is_json):
        if look:
            print_look(file, is_json=is_json)
            return
        found = import_file(file, read_told(file, mapping_file, told))
        print_report(store_import(database, name or file.name.split(".")[0], found), is_json=is_json)


def step_back() -> None:
    """Let whoever else works on this board go first: the service asks for this while liquid flows."""
    os.nice(NICENESS)
    # Where memory runs out, this program goes and the service stays.
    mark = Path("/proc/self/oom_score_adj")
    if mark.exists():
        mark.write_text("500", encoding="ascii")


def check_database(file: Path) -> None:
    """See that the service's database is there."""
    if not file.is_file():
        raise SettingsError(f"{file}: no such database: --database names the file that calmpass serve keeps")


def review(job_log: object, setup: "Setup", report: Report) -> "JobResult":
    """Import the review only when it is needed."""
    from server.core.log import JobLog
    from server.review import review_job

    assert isinstance(job_log, JobLog)
    return review_job(job_log, setup, report=report)


def with_progress(work: Callable[[Report], "JobResult"]) -> "JobResult":
    """Run long work with a bar on a terminal."""
    if not sys.stderr.isatty():
        return work(lambda what, share: None)
    with click.progressbar(length=100, label="reviewing", file=sys.stderr) as bar:
        done = 0

        def report(what: str, share: float) -> None:
            nonlocal done
            bar.label = f"reviewing: {what}"
            bar.update(int(100 * share) - done)
            done = int(100 * share)

        return work(report)


def write_results(result: "JobResult", setup: "Setup", job_log: "JobLog", folder: Path, units: str) -> None:
    """Write the results files, and the pictures where they can be drawn."""
    from server.exports.files import result_files, write_files
    from server.exports.plots import PICTURES, draw_plots
    from server.review import meter_job

    write_files(result_files(result, setup, job_log.digest), folder)
    _, curve, intervals = meter_job(job_log, setup)
    pictures = draw_plots(result, setup, curve, intervals, units=units)
    if pictures is None:
        for name in PICTURES:
            # Of an earlier job, maybe: beside these results they would tell something else.
            (folder / name).unlink(missing_ok=True)
        click.echo("map.png and traces.png are left out: pip install 'calmpass[plots]' to have them", err=True)
    else:
        write_files(pictures, folder)


def write_record(connection: "Connection", job: "Job", database: Path, folder: Path, units: str) -> None:
    """Write the record that the job stands under; of its other parts as they were reviewed."""
    from server.core.measured import Measured
    from server.exports.files import RECORD_NAMES, write_files
    from server.exports.recordfiles import record_file
    from server.records import read_measured
    from server.recordview import view_record
    from server.recordwork import measured_from_bytes
    from server.reviews import Reviews

    # As it was just written, so that the record says what the service's says, to the last digit.
    reviews, own = Reviews(database), measured_from_bytes((folder / "measured.json").read_bytes())

    def measured_of(part: "Job") -> Measured | None:
        return own if part.number == job.number else read_measured(reviews, part)

    view = view_record(connection, job.number, measured_of)
    write_files({name: record_file(name, view, units=units) for name in RECORD_NAMES}, folder)


def read_start_setup(file: Path | None) -> "Setup":
    """The settings to start from; without a file some that only serve to look around."""
    from server.core.setup import FlowMeter, Setup, Sprayer, Treatment
    from server.settings import read_setup

    if file is not None:
        return read_setup(file)
    return Setup(Sprayer(swath_m=1.0), FlowMeter(pulses_per_l=450.0), Treatment(target_l_per_m2=0.04))


def read_broker(address: str, user: str | None, password_file: Path | None) -> "LinkSettings":
    """Read HOST:PORT."""
    from server.link import LinkSettings

    host, _, port = address.rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise SettingsError(f"--broker {address}: HOST:PORT is wanted, 127.0.0.1:1883 say")
    return LinkSettings(host, int(port), user, read_secret(password_file, "--password-file"))


def read_secret(file: Path | None, option: str) -> str | None:
    """Read a secret from a file of its own."""
    if file is None:
        return None
    try:
        found = file.read_text(encoding="utf-8").strip()
    except OSError as error:
        raise SettingsError(f"{option} {file}: cannot be read ({error.strerror})") from error
    if not found:
        raise SettingsError(f"{option} {file}: is empty")
    return found


if __name__ == "__main__":
    main()
