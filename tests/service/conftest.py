"""Fixtures of the service's tests: a scenario's raw log, and a whole service without broker or network."""

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import anyio.from_thread
import httpx
import pytest
from click.testing import CliRunner
from yard import Yard

from firmware_sim.__main__ import main as simulate
from server.api.app import make_app
from server.api.passcode import Gate
from server.rawlog import Received, read_raw_log
from server.service import Service
from server.settings import read_setup
from server.store.connection import open_writer
from server.store.messages import MessageWriter

BASE = "http://127.0.0.1:8460"


class Replies:
    """Remembers what the service wanted to tell the rigs."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, object, bool]] = []
        self.greeted: set[str] = set()

    def publish(self, rig: str, message: object, *, is_retained: bool = False) -> None:
        """Note a message."""
        self.sent.append((rig, message, is_retained))

    def greet(self, rig: str) -> None:
        """Note a greeting."""
        self.greeted.add(rig)


class Desk:
    """A service on an event loop of its own thread, asked over HTTP without a network."""

    def __init__(self, stack: ExitStack, database: Path, setup: Path, passcode: str | None) -> None:
        self.portal = stack.enter_context(anyio.from_thread.start_blocking_portal("asyncio"))
        self.replies = Replies()
        self.service = Service(database, read_setup(setup))
        self.portal.call(self._start)
        stack.callback(self.portal.call, self.service.stop)
        self.gate = Gate(passcode)
        self.app = make_app(self.service, self.gate)
        transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
        self.client = httpx.AsyncClient(transport=transport, base_url=BASE)
        stack.callback(self.portal.call, self.client.aclose)

    async def _start(self) -> None:
        await self.service.start(self.replies, is_setup_given=True)

    def ask(self, method: str, path: str, body: Any = None, **more: Any) -> httpx.Response:
        """One request."""
        if body is not None:
            more["content"] = json.dumps(body)
            more["headers"] = {"content-type": "application/json", **more.get("headers", {})}

        async def send() -> httpx.Response:
            return await self.client.request(method, path, **more)

        return self.portal.call(send)

    def take(self, messages: list[Received]) -> None:
        """Give the service messages as its link does, and wait until they are stored and shown."""
        for message in messages:
            self.service.ingest.take(message.topic, message.payload)
        self.service.ingest.call(lambda writer: None).result(30)
        self.portal.call(self._turn)

    async def _turn(self) -> None:
        """Let what was handed to the loop run first, and what it sets going."""
        await self.service.settle()

    def await_review(self, number: int) -> dict[str, Any]:
        """Wait until a review is no longer under way."""
        for _ in range(600):
            found = self.ask("GET", f"/api/jobs/{number}/review").json()
            if found["state"] != "pending":
                return dict(found)
            self.portal.call(anyio.sleep, 0.05)
        raise AssertionError("the review does not end")


Open = Callable[..., Desk]


@pytest.fixture(scope="session")
def straight(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a simulated job: one straight pass of 30 m by the rig `rig-1`."""
    folder = tmp_path_factory.mktemp("straight")
    done = CliRunner().invoke(simulate, ["log", "straight", "--out", str(folder), "--rig", "rig-1"])
    assert done.exit_code == 0, done.output
    return folder


@pytest.fixture(scope="session")
def messages(straight: Path) -> list[Received]:
    """The messages of that job."""
    return list(read_raw_log(straight / "log.ndjson.gz"))


@pytest.fixture
def open_desk(straight: Path, tmp_path: Path) -> Iterator[Open]:
    """Opens a service over a database of the test's own."""
    with ExitStack() as stack:
        yield lambda passcode=None: Desk(stack, tmp_path / "db.sqlite3", straight / "setup.toml", passcode)


@pytest.fixture
def desk(open_desk: Open) -> Desk:
    """A service that has heard no rig yet."""
    return open_desk()


@pytest.fixture
def busy_desk(desk: Desk, messages: list[Received]) -> Desk:
    """A service that has stored the whole of the simulated job."""
    desk.take(messages)
    return desk


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    """An empty store and a watch."""
    found = Yard(tmp_path)
    yield found
    found.connection.close()


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[MessageWriter]:
    """A writer on a new database."""
    found = MessageWriter(open_writer(tmp_path / "store.db"))
    yield found
    found.connection.close()
