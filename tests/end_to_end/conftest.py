"""Fixtures of the end-to-end tests."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from programs import Program


@pytest.fixture
def programs() -> Iterator[list[Program]]:
    """Whatever a test starts, ended afterwards."""
    started: list[Program] = []
    yield started
    for program in started:
        program.kill()
