"""One queue a screen, and the task that fills them from the log.

A queue that is full drops its oldest rows: a slow screen never delays the run or another screen.
When it is ready again it gets from the log what it missed, but for readings too old to be drawn.
Everything here runs in the server's thread.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import TrimbenchError
from daq.log.entry import Kind
from daq.log.reader import LogReader
from procedures.page.events import event, retry
from procedures.page.hub import Hub
from procedures.page.rows import row_body

_Row = tuple[int, bytes]
"""Number in the log, and the event as it is sent."""

QUEUE: Final = 256
"""Rows that wait for one screen at most: about 12 s at 20 readings a second."""

POLL_S: Final = 0.02
"""How often the log is looked at when nobody says that there is something new."""

PING_S: Final = 1.0
"""How often a screen hears that the server lives, and what time it is there."""

CATCH_UP: Final = 1200
"""Readings that a screen gets when it connects: a minute at 20 a second."""

MAX_SCREENS: Final = 24
"""Streams at the same time; one more is turned away."""


@dataclass(eq=False)
class Screen:
    """What waits for one screen.

    Attributes
    ----------
    missed
        Whether there are rows in the log that were neither sent nor queued: true when it has just
        connected, and when it was too slow.
    """

    ready: asyncio.Event = field(default_factory=asyncio.Event)
    missed: bool = True
    _rows: deque[_Row] = field(default_factory=lambda: deque(maxlen=QUEUE))

    def put(self, seq: int, row: bytes) -> None:
        """Queue a row; the oldest gives way when the queue is full."""
        self.missed = self.missed or len(self._rows) == QUEUE
        self._rows.append((seq, row))
        self.ready.set()

    def take(self) -> list[_Row]:
        """Return what is queued, and empty the queue."""
        rows = list(self._rows)
        self._rows.clear()
        self.ready.clear()
        return rows


class Screens:
    """All screens of one page.

    Parameters
    ----------
    log_path
        The log; it exists.
    run
        The run that is shown; None when only finished runs are looked at.
    hub
        The present state.
    clock
        Its monotonic time is what the screens measure age against.
    """

    def __init__(self, log_path: Path, run: int | None, hub: Hub, clock: Clock) -> None:
        self._log_path = log_path
        self._run = run
        self._hub = hub
        self._clock = clock
        self._screens: set[Screen] = set()
        self._changed = asyncio.Event()
        self._closing = False
        self._seq = 0
        self._version = 0

    @property
    def full(self) -> bool:
        """Whether one more screen would be too many."""
        return len(self._screens) >= MAX_SCREENS

    def changed(self) -> None:
        """Look at the log and the hub at once."""
        self._changed.set()

    def close(self) -> None:
        """Let every stream end after what is there has been sent."""
        self._closing = True
        self._changed.set()

    async def follow(self) -> None:
        """Hand new rows and states to all screens, until closed."""
        with LogReader(self._log_path) as reader:
            while True:
                closing = self._closing  # looked at before the log, so that its last rows go out
                self._pass_on(reader)
                if closing:
                    return
                await _either(self._changed, POLL_S)
                self._changed.clear()

    async def stream(self, after: int) -> AsyncIterator[bytes]:
        """Yield the events of one screen that has seen rows up to `after`."""
        screen = Screen()
        self._screens.add(screen)
        try:
            yield retry()
            seen, version = after, 0
            while True:
                closing = self._closing
                rows = screen.take()
                if screen.missed:
                    # Rows that come meanwhile are queued, and are newer than the ones asked for.
                    screen.missed = False
                    rows = await asyncio.to_thread(self._history, seen, self._seq)
                version, topics = self._hub.since(version)
                state: dict[str, object] = {"mono_ms": self._now_ms()}
                state |= {str(topic): body for topic, body in topics.items()}
                yield b"".join(row for seq, row in rows if seq > seen) + event("now", state)
                seen = max([seen, *(seq for seq, _ in rows[-1:])])
                if closing and not screen.missed:
                    yield event("bye", {})
                    return
                await _either(screen.ready, PING_S)
        finally:
            self._screens.discard(screen)

    def _pass_on(self, reader: LogReader) -> None:
        new = self._closing
        try:
            for entry in reader.entries(run=self._run, after=self._seq) if self._run else ():
                self._seq, new = entry.seq, True
                row = event("row", row_body(entry), seq=entry.seq)
                for screen in self._screens:
                    screen.put(entry.seq, row)
        except TrimbenchError as error:
            self._run = None  # what is on the screens stays; nothing more can be read
            self._hub.publish("fault", {"text": str(error)})
        version, _ = self._hub.since(self._version)
        if new or version != self._version:
            self._version = version
            for screen in self._screens:
                screen.ready.set()

    def _history(self, after: int, until: int) -> list[_Row]:
        """Return rows after one up to another: all but readings older than can be drawn."""
        if self._run is None or until <= after:
            return []
        kinds = (Kind.RUN_STARTED, Kind.OUTCOME, Kind.EVENT, Kind.RUN_ENDED)
        oldest = max(after, until - CATCH_UP)
        with LogReader(self._log_path) as reader:
            found = [e for k in kinds for e in reader.entries(run=self._run, kind=k, after=after)]
            found += reader.entries(run=self._run, kind=Kind.READING, after=oldest)
        known = sorted((e for e in found if e.seq <= until), key=lambda e: e.seq)
        return [(e.seq, event("row", row_body(e), seq=e.seq)) for e in known]

    def _now_ms(self) -> float:
        return self._clock.monotonic_ns() / 1e6


async def _either(happened: asyncio.Event, seconds: float) -> None:
    try:
        await asyncio.wait_for(happened.wait(), seconds)
    except TimeoutError:
        return
