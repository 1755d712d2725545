"""A headless browser of Debian's, and ways to read a page."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@pytest.fixture
def browser() -> Iterator[Browser]:
    """Debian's Chromium, ended with the test: while it runs no other event loop can."""
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        yield found
        found.close()
