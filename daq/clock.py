"""The only module that reads or waits on time.

Order and durations come from the monotonic clock, the calendar from UTC. Everything that needs
time takes a `Clock`, so a test can run a day in a second.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """What the rest of the program may know about time."""

    def monotonic_ns(self) -> int:
        """Return nanoseconds that never run backwards; the origin means nothing."""

    def utc_ns(self) -> int:
        """Return nanoseconds since 1970-01-01T00:00:00 UTC."""

    def sleep(self, seconds: float) -> None:
        """Wait; zero or less returns at once."""


class SystemClock:
    """The machine's own clocks."""

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return time.monotonic_ns()

    def utc_ns(self) -> int:
        """See `Clock`."""
        return time.time_ns()

    def sleep(self, seconds: float) -> None:
        """See `Clock`."""
        if seconds > 0:
            time.sleep(seconds)


@dataclass(frozen=True, slots=True)
class ShiftedClock:
    """Another clock whose calendar is moved: a simulated visit on another day.

    Parameters
    ----------
    clock
        Where the time comes from.
    shift_ns
        What is added to its calendar time, ns; durations stay as they are.
    """

    clock: Clock
    shift_ns: int

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return self.clock.monotonic_ns()

    def utc_ns(self) -> int:
        """See `Clock`."""
        return self.clock.utc_ns() + self.shift_ns

    def sleep(self, seconds: float) -> None:
        """See `Clock`."""
        self.clock.sleep(seconds)


@dataclass
class ManualClock:
    """A clock that moves only when told, or when somebody sleeps on it.

    Parameters
    ----------
    mono_ns, epoch_ns
        Starting values, ns. The defaults are an invented moment.
    """

    mono_ns: int = 1_000_000_000
    epoch_ns: int = 1_800_000_000_000_000_000

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return self.mono_ns

    def utc_ns(self) -> int:
        """See `Clock`."""
        return self.epoch_ns

    def sleep(self, seconds: float) -> None:
        """Advance both clocks by `seconds`."""
        if seconds > 0:
            self.mono_ns += round(seconds * 1e9)
            self.epoch_ns += round(seconds * 1e9)

    def step_utc(self, seconds: float) -> None:
        """Set the calendar clock forwards or back, as a time server or a person would."""
        self.epoch_ns += round(seconds * 1e9)


def elapsed_s(clock: Clock, since_ns: int) -> float:
    """Return seconds of monotonic time since `since_ns`."""
    return (clock.monotonic_ns() - since_ns) / 1e9


def iso_utc(utc_ns: int) -> str:
    """Return `utc_ns` as ISO 8601 with milliseconds: ``2026-11-25T12:55:33.120Z``."""
    moment = datetime.fromtimestamp(utc_ns // 1_000_000_000, tz=UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{utc_ns // 1_000_000 % 1000:03d}Z"


class JumpWatch:
    """Notice that the calendar clock was set while the monotonic one ran on.

    Parameters
    ----------
    clock
        The clock to watch.
    tolerance_s
        Difference that passes for ordinary slewing.
    """

    def __init__(self, clock: Clock, *, tolerance_s: float = 2.0) -> None:
        self._clock = clock
        self._tolerance_ns = round(tolerance_s * 1e9)
        self._offset_ns = self._offset()

    def jump_s(self) -> float | None:
        """Return by how many seconds the calendar moved since the last call, or None."""
        offset = self._offset()
        moved = offset - self._offset_ns
        if abs(moved) <= self._tolerance_ns:
            return None
        self._offset_ns = offset
        return moved / 1e9

    def _offset(self) -> int:
        return self._clock.utc_ns() - self._clock.monotonic_ns()
