"""Time for the simulators: the only module here that reads or waits on it.

Anything with these three methods will do, so a test can pass a clock that it moves itself.
"""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """What a simulated instrument may know about time."""

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


class ScaledClock:
    """The machine's clocks, so many times as fast: an hour at the bench in minutes.

    Parameters
    ----------
    speed
        Seconds of plant time that go by in a second, above zero.

    Raises
    ------
    ValueError
        A speed that is not above zero.
    """

    def __init__(self, speed: float) -> None:
        if not speed > 0:
            raise ValueError(f"a clock cannot run at {speed} times real time")
        self._speed = speed
        self._start_ns = time.monotonic_ns()
        self._epoch_ns = time.time_ns()

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return round((time.monotonic_ns() - self._start_ns) * self._speed)

    def utc_ns(self) -> int:
        """See `Clock`; runs away from the calendar from the moment the clock was made."""
        return self._epoch_ns + self.monotonic_ns()

    def sleep(self, seconds: float) -> None:
        """See `Clock`."""
        if seconds > 0:
            time.sleep(seconds / self._speed)
