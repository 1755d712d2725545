"""What open pages get: all of it first, then changes; a slow page fewer pictures, never a longer queue."""

import asyncio
import json
import zlib
from base64 import b64decode
from itertools import pairwise

import numpy as np
import pytest

from server import service
from server.broadcast import LEAST_GAP_S, MOST_CELLS, Broadcast, DosePatch, format_event, pack_stream


def read_stream(text: str) -> list[tuple[str, str]]:
    """Read server-sent events as the HTML standard says (WHATWG HTML, 9.2.6 "Interpreting an event stream")."""
    found, kind, data = [], "", []
    for line in text.split("\n"):
        if not line:
            if data:
                found.append((kind or "message", "\n".join(data)))
            kind, data = "", []
        elif not line.startswith(":"):
            field, _, value = line.partition(":")
            value = value.removeprefix(" ")
            kind = value if field == "event" else kind
            data = [*data, value] if field == "data" else data
    return found


def test_an_event_is_read_by_the_standard_s_rules_as_what_was_sent() -> None:
    content = {"reason": 'line\nbreak \u2028 and "quote"', "level": None, "cells": [1, 2]}
    ((name, data),) = read_stream(format_event("snapshot", content).decode())
    assert name == "snapshot"
    assert json.loads(data) == content


def test_what_is_no_number_is_never_sent() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        format_event("snapshot", {"speed_mps": float("nan")})


def test_a_slow_page_gets_the_newest_and_keeps_no_queue() -> None:
    async def run() -> list[int]:
        state, got = 0, []
        broadcast = Broadcast(now=asyncio.get_running_loop().time)
        stream = broadcast.follow(lambda page: [("snapshot", state)])
        got.append(int(read_stream((await anext(stream)).decode())[0][1]))
        for _ in range(2000):
            state += 1
            broadcast.wake()
        await asyncio.sleep(2 * LEAST_GAP_S)
        got.append(int(read_stream((await anext(stream)).decode())[0][1]))
        broadcast.wake()
        await asyncio.sleep(2 * LEAST_GAP_S)
        broadcast.close()
        assert [part async for part in stream] == []
        assert broadcast.pages == set()
        return got

    assert asyncio.run(run()) == [0, 2000]


def test_pages_are_woken_at_once_and_then_at_most_every_fifty_milliseconds() -> None:
    async def run() -> list[float]:
        loop = asyncio.get_running_loop()
        times: list[float] = []
        broadcast = Broadcast(now=loop.time)

        async def look() -> None:
            async for _ in broadcast.follow(lambda page: [("snapshot", 0)]):
                times.append(loop.time())

        page = asyncio.create_task(look())
        await asyncio.sleep(2 * LEAST_GAP_S)
        asked = loop.time()
        for _ in range(40):
            broadcast.wake()
            await asyncio.sleep(0.005)
        broadcast.close()
        await page
        # The first word after a pause is not kept waiting.
        assert min(t - asked for t in times if t >= asked) < 0.03
        return times

    times = asyncio.run(run())
    assert 3 <= len(times) <= 8
    # Waking is what is paced; a page may be scheduled a little later.
    assert min(b - a for a, b in pairwise(times[1:])) > 0.5 * LEAST_GAP_S


def test_a_page_is_told_again_and_again_while_nothing_comes(desk, monkeypatch) -> None:
    monkeypatch.setattr(service, "TICK_S", 0.05)

    async def listen() -> list[str]:
        stream = desk.service.follow()
        parts = [(await asyncio.wait_for(anext(stream), 20.0)).decode() for _ in range(4)]
        await stream.aclose()
        return [read_stream(part)[0][0] for part in parts]

    assert desk.portal.call(listen) == ["snapshot"] * 4


def test_a_page_that_goes_is_forgotten() -> None:
    async def run() -> None:
        broadcast = Broadcast(now=lambda: 0.0)
        stream = broadcast.follow(lambda page: [("snapshot", 0)])
        await anext(stream)
        assert len(broadcast.pages) == 1
        await stream.aclose()
        assert broadcast.pages == set()

    asyncio.run(run())


def test_changes_added_up_are_what_a_new_page_gets(desk, messages) -> None:
    """Two pages, one from the beginning and one that opens at the end, end with the same map and way."""
    samples = [m for m in messages if not m.topic.endswith("/event")]

    async def read(stream: object, count: int, into: dict) -> None:
        for _ in range(count):
            for name, data in read_stream((await anext(stream)).decode()):
                apply(into, name, json.loads(data))

    def apply(into: dict, name: str, found: dict) -> None:
        if name == "track" and found["reset"]:
            into["east"] = np.frombuffer(b64decode(found["east_mm"]), "<i4").tolist()
        elif name == "track":
            into["east"] += [round(1000.0 * east_m) for east_m in found["east_m"]]
        elif name == "dose":
            frame = tuple(found[key] for key in ("x0_m", "y0_m", "cell_m", "nx", "ny"))
            if found["reset"]:
                into["dose"] = found["step_l_per_m2"] * np.frombuffer(b64decode(found["steps"]), "<u2")
            else:
                into["dose"][found["cells"]] = found["l_per_m2"]
            into["frame"] = frame

    early: dict = {}
    late: dict = {}

    async def open_page() -> object:
        return desk.service.follow()

    stream = desk.portal.call(open_page)
    desk.portal.call(read, stream, 1, early)
    for start in range(0, len(samples), 100):
        desk.take(samples[start : start + 100])
        desk.portal.call(read, stream, 1, early)
    desk.portal.call(desk.service.broadcast.wake)
    desk.portal.call(read, stream, 1, early)
    desk.portal.call(read, desk.portal.call(open_page), 1, late)
    assert (early["frame"], early["east"]) == (late["frame"], late["east"])
    assert len(late["east"]) > 100
    # A whole map is told in 65535 steps up to its highest dose.
    assert late["dose"] == pytest.approx(early["dose"], abs=late["dose"].max() / 65535)
    assert np.count_nonzero(late["dose"]) > 1000
    assert late["dose"] == pytest.approx(desk.service.live.way.grid.dose.ravel(), abs=late["dose"].max() / 65535)
    desk.portal.call(desk.service.broadcast.close)


def test_what_waits_for_a_page_that_does_not_read_is_bounded() -> None:
    patch = DosePatch(is_reset=False)
    for first in range(0, 3 * MOST_CELLS, 100):
        patch.add((cell, 0.1) for cell in range(first, first + 100))
        assert len(patch.cells) <= MOST_CELLS
    assert patch.is_reset
    patch = DosePatch(is_reset=False)
    patch.add([(3, 0.1), (3, 0.2)])
    assert (patch.is_reset, patch.cells) == (False, {3: 0.2})


def test_a_packed_stream_reads_part_by_part_as_what_was_sent() -> None:
    async def run() -> tuple[list[bytes], int]:
        closed = 0

        async def give():
            nonlocal closed
            try:
                for part in parts:
                    yield part
            finally:
                closed += 1

        reader, found = zlib.decompressobj(31), []
        packed = pack_stream(give())
        async for part in packed:
            found.append(reader.decompress(part))
            sizes.append(len(part))
            if len(found) == 3:
                break
        await packed.aclose()
        return found, closed

    sizes: list[int] = []
    picture = format_event("snapshot", {f"figure_{k}_m": k / 7 for k in range(60)})
    parts = [picture, picture, format_event("dose", {"steps": "A" * 300_000}), b"never asked for"]
    assert asyncio.run(run()) == (parts[:3], 1)
    assert sizes[1] < 0.1 * len(picture)
