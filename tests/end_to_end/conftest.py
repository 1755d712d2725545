"""Fixtures of the end-to-end tests."""

from collections.abc import Iterator

import pytest
from programs import Program


@pytest.fixture
def programs() -> Iterator[list[Program]]:
    """Whatever a test starts, ended afterwards."""
    started: list[Program] = []
    yield started
    for program in started:
        program.kill()
