"""The web application: the API under /api and the dashboard beside it."""

import asyncio
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.responses import Response
from fastapi.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.api import (
    beside,
    calibrations,
    history,
    jobs,
    live,
    outlook,
    papers,
    passcode,
    people,
    products,
    records,
    reviews,
    rules,
    season,
    setup,
    sites,
    sprayers,
    tank,
    touchup,
    treatments,
    works,
)
from server.api.models import Health, StorePart
from server.api.passcode import Gate
from server.api.problems import add_problems, problem
from server.service import Service
from server.store.messages import count_reasons, read_quarantine, read_tally

ROUTERS = tuple(
    module.router
    for module in (
        passcode,
        live,
        outlook,
        papers,
        records,
        beside,
        touchup,
        tank,
        reviews,
        jobs,
        history,
        calibrations,
        setup,
        sites,
        sprayers,
        products,
        treatments,
        people,
        works,
        rules,
        season,
    )
)
PAGES = Path(__file__).resolve().parent.parent / "dashboard"
QUARANTINE_SHOWN = 50
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}
Lifespan = Callable[[FastAPI], Any]


def make_app(
    service: Service, gate: Gate, *, lifespan: Lifespan | None = None, is_up: Callable[[], bool] = bool
) -> FastAPI:
    """Put the application together around a service."""
    app = FastAPI(
        title="calmpass",
        version=version("calmpass"),
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.service, app.state.gate = service, gate
    add_problems(app)

    @app.get("/api/health", tags=["health"])
    async def tell_health() -> Health:
        """That the service is there, whether its broker is, and what its store keeps."""
        store = StorePart(**service.thinner.tell())
        return Health(status="ok", version=version("calmpass"), broker=is_up(), store=store)

    @app.get("/api/quarantine", tags=["quarantine"])
    async def read_refused() -> dict[str, Any]:
        """What was refused and why, and what became of all messages."""
        return await asyncio.to_thread(service.jobs.read, _quarantine)

    for router in ROUTERS:
        app.include_router(router)
    app.add_middleware(Guard, gate=gate)
    app.mount("/", StaticFiles(directory=PAGES, html=True), name="dashboard")
    return app


def _quarantine(connection: Any) -> dict[str, Any]:
    return {
        "counts": dict(read_tally(connection)),
        "reasons": count_reasons(connection),
        "latest": read_quarantine(connection, QUARANTINE_SHOWN),
    }


class Guard:
    """Keeps out who gave no passcode, and sets the headers of every answer."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self._app = app
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass one request on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        is_page = not request.url.path.startswith("/api/")

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                known = {name for name, _ in message["headers"]}
                # A page made to be kept says itself what it needs.
                own = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
                headers = [(name, value) for name, value in own if name not in known]
                if is_page or b"cache-control" not in known:
                    headers.append((b"cache-control", b"no-cache"))
                message["headers"] = [*message["headers"], *headers]
            await send(message)

        answer: ASGIApp | Response = self._app
        if is_foreign(request):
            answer = problem(403, "orders are taken from this service's own pages only")
        elif not self._gate.admits(request):
            answer = problem(401, "a passcode is needed")
        await answer(scope, receive, send_with_headers)


def is_foreign(request: Request) -> bool:
    """Whether a page of somebody else's makes a browser send an order."""
    origin = request.headers.get("origin")
    if request.method in ("GET", "HEAD", "OPTIONS") or origin is None:
        return False
    return urlsplit(origin).netloc != request.headers.get("host", "")


def route_paths() -> list[str]:
    """The paths of the API, for the documents' test."""
    found = {route.path for router in ROUTERS for route in router.routes if hasattr(route, "path")}
    return sorted({*found, "/api/health", "/api/quarantine", "/api/openapi.json"})
