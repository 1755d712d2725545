"""`calmpass-rig`: the device program on real hardware."""

import logging
import os
import signal
import sys
import time
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.errors import RigError, SettingsError
from rig.settings import CounterSettings, Settings, read_settings

if TYPE_CHECKING:
    from rig.device import Parts
    from rig.ports import ByteSource, Clock
    from rig.sampler import Channel

BOOT_BYTES = 8
NEVER_USED = ("ssl", "_hashlib")
"""OpenSSL: the device speaks to its broker in the clear, and this would be a sixth of its memory."""
SOFTLY = "\x1b[10;330]\x1b[11;40]\a\x1b[10;750]\x1b[11;125]"
"""Low and short on a Linux console, then its usual bell again (console_codes(4)); elsewhere one plain bell."""


class Bell:
    """The terminal's bell."""

    def __init__(self, *, is_on: bool) -> None:
        self._is_on = is_on

    def sound(self) -> None:
        """Ring once."""
        self._write("\a")

    def chirp(self) -> None:
        """Ring once, low and short where the terminal can; in a file it is one plain bell."""
        self._write(SOFTLY if sys.stderr.isatty() else "\a")

    def _write(self, signs: str) -> None:
        if self._is_on:
            sys.stderr.write(signs)
            sys.stderr.flush()


@click.command()
@click.option("--settings", "file", type=click.Path(path_type=Path), required=True, help="The settings file (TOML).")
@click.option("--check", is_flag=True, help="Only check the settings file, then stop.")
@click.option("--verbose", is_flag=True, help="Say more about the link and the service.")
def main(file: Path, check: bool, verbose: bool) -> None:
    """Read the rig's flow meter, anemometer and receiver, and send what they say to the service."""
    logging.basicConfig(
        level=logging.INFO if verbose else logging.WARNING, format="%(asctime)s %(message)s", datefmt="%H:%M:%S"
    )
    leave_out(NEVER_USED)
    import asyncio

    try:
        settings = read_settings(file)
        if check:
            click.echo(f"{file}: good")
            return
        asyncio.run(run_device(settings))
    except RigError as error:
        raise SystemExit(f"calmpass-rig: {error}") from error


def leave_out(modules: tuple[str, ...]) -> None:
    """Let libraries that would load these do without, as they can; before any of them is imported."""
    absent: Any = None
    for name in modules:
        sys.modules.setdefault(name, absent)


async def run_device(settings: Settings) -> None:
    """Put the device together from its settings and run it until a signal ends it."""
    import asyncio

    from rig.device import Device

    device = Device(build_parts(settings))
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, device.stop)
    await device.run()


def build_parts(settings: Settings) -> "Parts":
    """Open what the settings name; raises RigError with one line where something is not there."""
    from rig.device import Parts
    from rig.link import MqttLink
    from rig.nmea import NmeaParser
    from rig.ports import MonotonicClock
    from rig.sampler import Sampler
    from rig.spool import Spool

    clock = MonotonicClock()
    boot = os.urandom(BOOT_BYTES).hex()
    channels = [*open_channel("flow", settings.flow), *open_channel("wind", settings.wind)]
    receiver = open_receiver(settings, clock)
    broker = settings.broker
    return Parts(
        sampler=Sampler(boot, tuple(channels)),
        receiver=receiver,
        parser=NmeaParser(earliest=date(settings.receiver.earliest_year, 1, 1)),
        spool=Spool(
            Path(settings.spool.file),
            keep_days=settings.spool.keep_days,
            keep_mib=settings.spool.keep_mib,
            utc=time.time,
        ),
        link=MqttLink(
            settings.rig.name,
            boot,
            host=broker.host,
            port=broker.port,
            user=broker.user,
            password=read_password(broker.password_file),
        ),
        horn=Bell(is_on=settings.sounder.bell),
        clock=clock,
        description=describe(settings),
    )


def open_channel(stream: str, counter: CounterSettings) -> "list[Channel]":
    """Open one pulse line, if one is fitted."""
    if counter.chip is None:
        return []
    from rig.hardware.gpio import GpioCounter
    from rig.sampler import Channel

    line = GpioCounter(counter.chip, counter.line, counter.debounce_s)
    return [Channel(stream, line, counter.sample_rate_hz, counter.maximum_hz)]


def open_receiver(settings: Settings, clock: "Clock") -> "ByteSource | None":
    """Open the receiver's port, if one is fitted; raises HardwareError when it is not there at the start."""
    if settings.receiver.device is None:
        return None
    from rig.hardware.serial import SerialPort

    port = SerialPort(settings.receiver.device, settings.receiver.baud, clock)
    port.open()
    return port


def read_password(file: str | None) -> str | None:
    """Read the broker's password from a file of its own."""
    if file is None:
        return None
    try:
        return Path(file).read_text(encoding="utf-8").strip()
    except OSError as error:
        raise SettingsError(f"broker.password_file {file}: cannot be read: {error.strerror}") from error


def describe(settings: Settings) -> dict[str, object]:
    """What is fitted, for the retained description."""
    return {
        "software": version("calmpass"),
        "receiver": settings.receiver.device is not None,
        "flow_hz": settings.flow.sample_rate_hz if settings.flow.chip else None,
        "wind_hz": settings.wind.sample_rate_hz if settings.wind.chip else None,
        "spool_mib": settings.spool.keep_mib,
    }


if __name__ == "__main__":
    main()
