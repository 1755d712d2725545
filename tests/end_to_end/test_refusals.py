"""Started with bad input as a user would: one clear line, an end with another code than 0 where it cannot go on."""

import socket
from pathlib import Path

import pytest
from programs import Http, Program, run_command, wait_for

SETUP = "[sprayer]\nswath_m = 1.0\n[flow_meter]\npulses_per_l = 450\n[treatment]\ntarget_l_per_m2 = 0.016\n"
NOWHERE = "/proc/calmpass/store.sqlite3"
"""A place where nobody can write, not even the superuser."""


@pytest.fixture
def setup(tmp_path: Path) -> Path:
    """A good settings file of a job."""
    file = tmp_path / "setup.toml"
    file.write_text(SETUP)
    return file


def refused(*words: str) -> str:
    """The one line with which a program refuses to start."""
    done = run_command(*words)
    lines = done.stderr.strip().splitlines()
    assert done.returncode not in (0, None), done.stdout
    assert "Traceback" not in done.stderr
    assert len([line for line in lines if line.startswith(("calmpass", "Error"))]) == 1, done.stderr
    return lines[-1]


def serve(setup: Path, *more: str, port: int = 1) -> tuple[str, ...]:
    """The words that start the service."""
    database = () if "--database" in more else ("--database", str(setup.with_name("db.sqlite3")))
    return ("server", "serve", "--setup", str(setup), "--port", str(port), *database, *more)


def test_a_file_that_is_not_there_is_named(setup: Path, tmp_path: Path) -> None:
    assert "gone.toml" in refused(*serve(tmp_path / "gone.toml"))
    assert "gone.toml" in refused("rig", "--settings", str(tmp_path / "gone.toml"))
    out = ("--out", str(tmp_path / "out"))
    assert "gone.ndjson" in refused("server", "replay", str(tmp_path / "gone.ndjson"), "--setup", str(setup), *out)


@pytest.mark.parametrize(
    ("bad", "named"),
    [
        ("swath_cm = 100", "swath_cm"),
        ('swath_m = "1 m"', "swath_m"),
        ("swath_m = 100.0", "swath_m"),
        ("swath_m = -1.0", "swath_m"),
        ("swath_m = nan", "swath_m"),
        ("swath_m = ", "line 2"),
    ],
)
def test_a_wrong_unit_or_value_is_named_with_its_place(setup: Path, bad: str, named: str) -> None:
    setup.write_text(SETUP.replace("swath_m = 1.0", bad))
    line = refused(*serve(setup))
    assert named in line
    assert "setup.toml" in line


def test_a_wrong_setting_of_the_rig_is_named_with_its_place(tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    file.write_text("[flow]\nsample_rate_s = 5\n")
    line = refused("rig", "--settings", str(file))
    assert "flow.sample_rate_s" in line
    assert "sample_rate_hz" in line


def test_a_port_in_use_is_named_with_the_way_out(setup: Path, free_port: int) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", free_port))
        other.listen()
        line = refused(*serve(setup, port=free_port))
    assert str(free_port) in line
    assert "--port" in line


@pytest.mark.parametrize("password", ["wrong", None])
def test_a_wrong_password_at_the_broker_ends_both_programs(
    setup: Path, locked_broker, free_port: int, tmp_path: Path, password: str | None
) -> None:
    secret = tmp_path / "secret"
    secret.write_text(f"{password}\n")
    login = () if password is None else ("--user", "service", "--password-file", str(secret))
    line = refused(*serve(setup, "--broker", f"127.0.0.1:{locked_broker.port}", *login, port=free_port))
    assert "password" in line
    file = tmp_path / "rig.toml"
    login = "" if password is None else f'user = "service"\npassword_file = "{secret}"\n'
    file.write_text(f'[broker]\nport = {locked_broker.port}\n{login}[spool]\nfile = "{tmp_path}/spool.sqlite3"\n')
    assert "password" in refused("rig", "--settings", str(file))


def test_a_password_file_that_is_not_there_is_named(setup: Path, tmp_path: Path) -> None:
    assert "no-secret" in refused(*serve(setup, "--user", "service", "--password-file", str(tmp_path / "no-secret")))
    file = tmp_path / "rig.toml"
    file.write_text(f'[broker]\nuser = "rig"\npassword_file = "{tmp_path}/no-secret"\n')
    assert "no-secret" in refused("rig", "--settings", str(file))


def test_a_place_that_cannot_be_written_is_named(setup: Path, free_port: int, tmp_path: Path) -> None:
    assert NOWHERE in refused(*serve(setup, "--database", NOWHERE, port=free_port))
    file = tmp_path / "rig.toml"
    file.write_text(f'[spool]\nfile = "{NOWHERE}"\n')
    assert NOWHERE in refused("rig", "--settings", str(file))
    log = tmp_path / "straight"
    assert run_command("firmware_sim", "log", "straight", "--out", str(log)).returncode == 0
    replay = ("server", "replay", str(log / "log.ndjson.gz"), "--setup", str(log / "setup.toml"))
    assert "/proc/out" in refused(*replay, "--out", "/proc/out")


@pytest.mark.parametrize(
    ("settings", "named"),
    [
        ('[flow]\nchip = "/dev/no-chip"\nline = 4\n', "/dev/no-chip"),
        ('[wind]\nchip = "/dev/null"\nline = 4\n', "/dev/null"),
        ('[receiver]\ndevice = "/dev/no-receiver"\n', "/dev/no-receiver"),
        ('[receiver]\ndevice = "/dev/null"\n', "/dev/null"),
    ],
)
def test_what_is_not_fitted_is_named(tmp_path: Path, settings: str, named: str) -> None:
    file = tmp_path / "rig.toml"
    file.write_text(f'{settings}[spool]\nfile = "{tmp_path}/spool.sqlite3"\n')
    assert named in refused("rig", "--settings", str(file))


def test_a_broker_that_is_down_is_said_once_and_waited_for(
    setup: Path, programs: list[Program], free_port: int, tmp_path: Path
) -> None:
    service = Program(tmp_path / "service.log", *serve(setup, "--broker", "127.0.0.1:1", port=free_port))
    programs.append(service)
    service.start()
    http = Http(free_port)
    health = wait_for(lambda: http.ask("/api/health"), "the service answers")
    assert health["broker"] is False
    wait_for(lambda: "no broker at 127.0.0.1:1" in service.words, "it says that there is no broker")
    assert service.stop() == 0
    assert service.words.count("no broker") == 1
    assert "Traceback" not in service.words
