"""Starting and stopping the service: link, writer and web server in one process."""

import asyncio
import gc
import logging
import signal
import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.clock import read_wall_offset
from server.core.setup import Setup
from server.errors import LinkError, SettingsError
from server.link import LinkEvents, LinkSettings, MqttLink
from server.service import Service
from server.station import Yard
from server.thinning import KEEP_S

log = logging.getLogger(__name__)
GRACE_S = 2
LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True, slots=True)
class ServeSettings:
    """What `calmpass serve` was told."""

    database: Path
    broker: LinkSettings
    host: str
    port: int
    passcode: str | None
    setup: Setup
    is_setup_given: bool
    keep_s: float | None = KEEP_S
    stands: bool = False


async def serve(settings: ServeSettings) -> None:
    """Run until a signal ends it; raises ServiceError where it cannot go on."""
    import uvicorn

    from server.api.app import make_app
    from server.api.passcode import Gate

    check_address(settings)
    service = Service(
        settings.database, settings.setup, keep_s=settings.keep_s, yard=Yard(settings.stands, read_wall_offset)
    )
    refusals: list[str] = []
    loop = asyncio.get_running_loop()

    def refuse(reason: str) -> None:
        if not refusals and not link.was_up:
            refusals.append(reason)
            loop.call_soon_threadsafe(stop)
        elif link.was_up:
            log.error("%s", reason)

    def stop() -> None:
        service.broadcast.close()
        server.should_exit = True

    link = MqttLink(settings.broker, LinkEvents(service.ingest.take, lambda is_up: None, refuse))

    @asynccontextmanager
    async def lifespan(app: Any) -> AsyncIterator[None]:
        await service.start(link, is_setup_given=settings.is_setup_given)
        link.open()
        yield
        await asyncio.to_thread(link.close)
        await service.stop()

    app = make_app(service, Gate(settings.passcode), lifespan=lifespan, is_up=lambda: link.is_up)
    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        log_level="warning",
        timeout_graceful_shutdown=GRACE_S,
        lifespan="on",
        loop="asyncio",
        http="h11",
        ws="none",
        access_log=False,
    )
    server = _make_server(config)
    gc.freeze()
    gc.enable()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop)
    await server.serve()
    if refusals:
        raise LinkError(refusals[0])


def _make_server(config: Any) -> Any:
    """A web server that leaves signals to us: open streams must end before it can."""
    import uvicorn

    class Server(uvicorn.Server):
        """The web server without signal handlers of its own."""

        @contextmanager
        def capture_signals(self) -> Iterator[None]:
            """Leave the signals alone."""
            yield

    return Server(config)


def check_address(settings: ServeSettings) -> None:
    """See that the address may be and can be listened to; raises SettingsError in one line."""
    if settings.host not in LOOPBACK and settings.passcode is None:
        raise SettingsError(
            f"--host {settings.host} lets others on the network in: set a passcode with --passcode-file FILE"
        )
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((settings.host, settings.port))
        except OSError as error:
            raise SettingsError(
                f"{settings.host}:{settings.port} cannot be listened to ({error.strerror}): "
                "is another calmpass running? --port chooses another"
            ) from error
