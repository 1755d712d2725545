"""A headless browser of Debian's, and ways to read a page."""

import threading
from collections.abc import Callable, Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from lawnroom import Answers
from playwright.sync_api import Browser, Page, sync_playwright

PAGES = Path(__file__).resolve().parents[2] / "server" / "dashboard"
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, started once for a file of tests: while it runs no other event loop can."""
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        yield found
        found.close()


@pytest.fixture
def browser(chromium: Browser) -> Iterator[Browser]:
    """The browser without a page or a memory of the test before."""
    yield chromium
    for context in chromium.contexts:
        context.close()


class Quiet(SimpleHTTPRequestHandler):
    """Serves the pages' files without a word."""

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing to say."""


@pytest.fixture
def files() -> Iterator[str]:
    """The pages' files on a port of loopback; the API is answered in the browser."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(PAGES)))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def answers() -> Answers:
    """A made-up service."""
    return Answers()


@pytest.fixture
def show(browser: Browser, files: str, answers: Answers) -> Callable[..., Page]:
    """Open a place on a phone; an exception in the page fails the test where it is looked at."""

    def open_place(place: str, size: tuple[int, int] = (390, 844), scheme: Any = "light") -> Page:
        viewport = {"width": size[0], "height": size[1]}
        page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()
        page.on("pageerror", lambda error: answers.asked.append(("ERROR", str(error), None)))
        page.route("**/api/**", answers.answer)
        page.goto(f"{files}/#{place}")
        return page

    return open_place
