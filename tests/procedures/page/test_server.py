"""The stream, the lists and the end of the server, over the wire."""

from __future__ import annotations

import asyncio
import http.client
import json
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest

from daq.clock import SystemClock
from daq.log.entry import Kind
from procedures.page.hub import Hub
from procedures.page.screens import CATCH_UP, MAX_SCREENS, QUEUE, Screen, Screens

if TYPE_CHECKING:
    from tests.procedures.page.conftest import Rig

Event = tuple[str, int | None, dict[str, Any]]


@contextmanager
def stream(rig: Rig, **headers: str) -> Iterator[Iterator[Event]]:
    """Open a stream and yield its events as they come."""
    connection = http.client.HTTPConnection(urlsplit(rig.page.url).netloc, timeout=5)
    connection.request("GET", "/events", headers=headers)
    answer = connection.getresponse()
    assert answer.status == 200
    try:
        yield _events(answer)
    finally:
        connection.close()


def _events(answer: http.client.HTTPResponse) -> Iterator[Event]:
    name, seq = "", None
    while line := answer.readline():
        field, _, value = line.decode().rstrip("\n").partition(": ")
        if field == "event":
            name, seq = value, None
        elif field == "id":
            seq = int(value)
        elif field == "data":
            yield name, seq, json.loads(value)


def rows(events: Iterator[Event], count: int) -> list[int]:
    """Return the numbers of the next rows."""
    found: list[int] = []
    while len(found) < count:
        name, seq, _ = next(events)
        if name == "row":
            assert seq is not None
            found.append(seq)
    return found


def write(rig: Rig, count: int) -> None:
    reading = {
        "quantity": "ddm",
        "point": "course width",
        "value": 0.1,
        "unit": "1",
        "u": 0.001,
        "source": "receiver",
        "quality": "ok",
        "raw": "",
        "took_ns": 0,
    }
    for _ in range(count):
        rig.writer.append(1, Kind.READING, "k", reading)


def test_rows_come_as_they_are_logged_numbered_as_in_the_log(rig: Rig) -> None:
    write(rig, 3)
    with stream(rig) as events:
        assert rows(events, 3) == [1, 2, 3]
        write(rig, 2)
        assert rows(events, 2) == [4, 5]


def test_a_stream_goes_on_after_the_last_row_seen(rig: Rig) -> None:
    write(rig, 10)
    with stream(rig, **{"Last-Event-ID": "7"}) as events:
        assert rows(events, 3) == [8, 9, 10]


def test_rows_that_are_logged_while_a_screen_connects_come_once(rig: Rig) -> None:
    stop = threading.Event()

    def keep_writing() -> None:
        while not stop.is_set():
            write(rig, 1)

    writing = threading.Thread(target=keep_writing)
    writing.start()
    for _ in range(5):
        with stream(rig) as events:
            seen = rows(events, 60)
            assert seen == list(range(seen[0], seen[0] + 60))
    stop.set()
    writing.join()


def test_a_late_screen_gets_a_minute_of_readings_and_all_outcomes(rig: Rig) -> None:
    rig.writer.append(1, Kind.OUTCOME, "o", {"request": {"do": "note"}, "outcome": {}})
    write(rig, CATCH_UP + 50)
    with stream(rig) as first:
        while rows(first, 1)[0] < CATCH_UP + 51:
            pass  # until the server itself has seen the last one
        with stream(rig) as events:
            seen = rows(events, 2)
    assert seen[0] == 1
    assert seen[1] == 52


def test_a_screen_hears_that_the_server_lives(rig: Rig) -> None:
    """Twice within three seconds although nothing happens, with the server's own time."""
    with stream(rig) as events:
        times = [next(events)[2]["mono_ms"] for _ in range(3)]
    assert times == sorted(times)
    assert times[2] - times[0] < 3000.0


def test_the_present_state_comes_first_and_then_what_changes(rig: Rig) -> None:
    rig.page.hub.publish("prompt", {"text": "Connect it."})
    with stream(rig) as events:
        assert next(events)[2]["prompt"] == {"text": "Connect it."}
        rig.page.hub.publish("prompt", {})
        assert next(events)[2]["prompt"] == {}


def test_a_full_queue_drops_the_oldest_rows() -> None:
    screen = Screen(missed=False)
    for seq in range(QUEUE + 10):
        screen.put(seq, str(seq).encode())
    assert screen.missed
    assert screen.take()[0] == (10, b"10")
    assert screen.take() == []


def test_a_screen_that_was_too_slow_still_gets_every_verdict(rig: Rig) -> None:
    """Points of a drawing may be lost, lines of the list may not."""

    async def slow() -> list[int]:
        screens = Screens(rig.station.log_path, 1, Hub(), SystemClock())
        following = asyncio.create_task(screens.follow())
        stream = screens.stream(0)
        seen = [await anext(stream), await anext(stream)]
        note = {"request": {"do": "note"}, "outcome": {}}
        for _ in range(5):
            await asyncio.to_thread(rig.writer.append, 1, Kind.OUTCOME, "o", note)
        await asyncio.to_thread(write, rig, CATCH_UP + QUEUE)
        await asyncio.sleep(0.2)
        screens.close()
        await following
        seen += [chunk async for chunk in stream]
        return [int(n) for n in re.findall(rb"^id: (\d+)$", b"".join(seen), re.MULTILINE)]

    numbers = asyncio.run(slow())
    assert numbers[:5] == [1, 2, 3, 4, 5]
    assert numbers == sorted(set(numbers))
    assert numbers[-1] == 5 + CATCH_UP + QUEUE
    assert 6 not in numbers, "too old to be drawn"


def test_a_screen_that_never_reads_delays_nobody(rig: Rig) -> None:
    """Its buffers fill up; the run still logs, and another screen still sees, at full speed."""
    clock = SystemClock()
    with stream(rig), stream(rig) as events:
        began = clock.monotonic_ns()
        write(rig, 600)
        assert rows(events, 600)[-1] == 600
        assert (clock.monotonic_ns() - began) / 1e9 < 20.0


def test_the_end_of_the_run_reaches_the_screens_before_the_server_stops(rig: Rig) -> None:
    with stream(rig) as events:
        next(events)
        write(rig, 1)
        clock = SystemClock()
        began = clock.monotonic_ns()
        rig.page.close()
        assert (clock.monotonic_ns() - began) / 1e9 < 3.0, "an open stream hung the end"
        left = list(events)
    assert [name for name, _, _ in left if name != "now"] == ["row", "bye"]


def test_there_is_room_for_so_many_screens_only(rig: Rig) -> None:
    from contextlib import ExitStack

    with ExitStack() as stack:
        for _ in range(MAX_SCREENS):
            next(stack.enter_context(stream(rig)))
        connection = http.client.HTTPConnection(urlsplit(rig.page.url).netloc, timeout=5)
        connection.request("GET", "/events")
        assert connection.getresponse().status == 503
        connection.close()


def fetch(rig: Rig, path: str) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection(urlsplit(rig.page.url).netloc, timeout=60)
    connection.request("GET", path)
    answer = connection.getresponse()
    found = answer.status, answer.read()
    connection.close()
    return found


def test_a_finished_run_has_a_record_and_others_say_why_not(rig: Rig) -> None:
    rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    rig.type("y\n")
    rig.finish()
    listed = json.loads(fetch(rig, "/runs.json")[1])
    assert [(one["run"], one["result"]) for one in listed] == [(1, "finished")]
    status, body = fetch(rig, "/records/1.pdf")
    assert status == 200
    assert body.startswith(b"%PDF-")  # ISO 32000-1, 7.5.2
    assert fetch(rig, "/records/2.pdf")[0] == 422


def test_a_run_that_goes_on_has_no_record_yet(rig: Rig) -> None:
    rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    clock = SystemClock()
    while not rig.page.hub.now("prompt"):
        clock.sleep(0.005)
    status, body = fetch(rig, "/records/1.pdf")
    assert status == 422
    assert b"has not ended" in body


def test_trends_come_with_limits_as_they_are_drawn(rig: Rig) -> None:
    rig.meter.value = 0.2
    rig.start(lambda bench: bench.measure("c", "clearance 150", label="as found"))
    rig.type("y\n")
    rig.finish()
    (listed,) = json.loads(fetch(rig, "/trends.json")[1])
    assert listed["parameter"] == "clearance 150"
    one = json.loads(fetch(rig, "/trend.json?parameter=clearance%20150")[1])
    assert one["unit"] == "thousandths DDM"
    assert (one["low"], one["high"]) == (pytest.approx(200.0), pytest.approx(220.0))
    assert [p["found"] for p in one["points"]] == [pytest.approx(200.0, abs=0.1)]
    for name in ("nothing", "--help", ""):
        assert fetch(rig, f"/trend.json?parameter={name}")[0] == 422
