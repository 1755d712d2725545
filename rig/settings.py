"""The device program's settings file (TOML): every unit in its key, every bad value refused in one line."""

import difflib
import tomllib
from dataclasses import MISSING, dataclass, field, fields
from pathlib import Path
from typing import Any, get_type_hints

from rig.errors import SettingsError
from rig.wire import topic_of


@dataclass(frozen=True, slots=True)
class RigSettings:
    """What the rig is called on the wire."""

    name: str = "rig"


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where the broker is and how to log in."""

    host: str = "127.0.0.1"
    port: int = 1883
    user: str | None = None
    password_file: str | None = None


@dataclass(frozen=True, slots=True)
class ReceiverSettings:
    """The GNSS receiver's port; no device: none is fitted."""

    device: str | None = None
    baud: int = 38400
    earliest_year: int = 2024


@dataclass(frozen=True, slots=True)
class CounterSettings:
    """One pulse line; no chip: none is fitted."""

    chip: str | None = None
    line: int = 0
    debounce_s: float = 0.001
    maximum_hz: float = 500.0
    sample_rate_hz: float = 5.0


@dataclass(frozen=True, slots=True)
class SpoolSettings:
    """Where samples wait for the service, and how many may."""

    file: str = "spool.sqlite3"
    keep_days: float = 14.0
    keep_mib: float = 200.0


@dataclass(frozen=True, slots=True)
class SounderSettings:
    """Whether the terminal bell sounds."""

    bell: bool = True


@dataclass(frozen=True, slots=True)
class Settings:
    """The whole file, a table each."""

    rig: RigSettings = field(default_factory=RigSettings)
    broker: BrokerSettings = field(default_factory=BrokerSettings)
    receiver: ReceiverSettings = field(default_factory=ReceiverSettings)
    flow: CounterSettings = field(default_factory=CounterSettings)
    wind: CounterSettings = field(default_factory=CounterSettings)
    spool: SpoolSettings = field(default_factory=SpoolSettings)
    sounder: SounderSettings = field(default_factory=SounderSettings)


RANGES: dict[str, tuple[float, float]] = {
    "broker.port": (1, 65535),
    "receiver.baud": (4800, 921600),
    "receiver.earliest_year": (1980, 2100),
    "flow.line": (0, 511),
    "flow.debounce_s": (0.0, 0.1),
    "flow.maximum_hz": (1.0, 20000.0),
    "flow.sample_rate_hz": (0.2, 50.0),
    "wind.line": (0, 511),
    "wind.debounce_s": (0.0, 0.1),
    "wind.maximum_hz": (1.0, 20000.0),
    "wind.sample_rate_hz": (0.2, 50.0),
    "spool.keep_days": (0.01, 3650.0),
    "spool.keep_mib": (1.0, 1e6),
}


def read_settings(path: Path) -> Settings:
    """Read a settings file; raises SettingsError with one line that says what to mend."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: no such settings file; deploy/rig.toml is one to start from") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read: {error}") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not TOML: {error}") from error
    try:
        return settings_from_mapping(found)
    except SettingsError as error:
        raise SettingsError(f"{path}: {error}") from error


def settings_from_mapping(found: dict[str, Any]) -> Settings:
    """Check a mapping of tables strictly; raises SettingsError that names the key, the value and what is allowed."""
    hints = get_type_hints(Settings)
    for table in found:
        if table not in hints:
            raise SettingsError(f"[{table}] is not a table of this file{_suggest(table, list(hints))}")
    tables = {name: _read_table(name, cls, found.get(name, {})) for name, cls in hints.items()}
    settings = Settings(**tables)
    try:
        topic_of(settings.rig.name, "state")
    except ValueError as error:
        raise SettingsError(f"rig.name: {error}") from error
    return settings


def _read_table(table: str, cls: type[Any], found: Any) -> Any:
    """Check one table key by key and build its record."""
    if not isinstance(found, dict):
        raise SettingsError(f"{table} = {found!r} must be a table: write [{table}] on a line of its own")
    hints = get_type_hints(cls)
    for key in found:
        if key not in hints:
            raise SettingsError(f"{table}.{key} is not a setting{_suggest(key, list(hints))}")
    missing = [f.name for f in fields(cls) if f.default is MISSING and f.name not in found]
    if missing:
        raise SettingsError(f"{table}.{missing[0]} is needed")
    return cls(**{key: _check(f"{table}.{key}", value, hints[key]) for key, value in found.items()})


def _check(key: str, value: Any, hint: Any) -> Any:
    """Check type and range of one value."""
    wanted = {str: "a text", bool: "true or false", int: "a whole number", float: "a number"}
    kinds = getattr(hint, "__args__", (hint,))
    kind = next(k for k in kinds if k is not type(None))
    if kind is float and type(value) is int:
        value = float(value)
    if type(value) is not kind:
        raise SettingsError(f"{key} = {value!r} must be {wanted[kind]}")
    if key in RANGES:
        low, high = RANGES[key]
        if not low <= value <= high:
            raise SettingsError(f"{key} = {value!r} is out of range: {low:g} to {high:g} is allowed")
    return value


def _suggest(word: str, known: list[str]) -> str:
    """Offer the nearest known word, or all of them."""
    near = difflib.get_close_matches(word, known, n=1)
    return f"; did you mean {near[0]}?" if near else f"; known are {', '.join(known)}"
