"""A moment of monotonic time by which something has to be done."""

from __future__ import annotations

from daq.clock import Clock


class Deadline:
    """Counts down from `timeout_s`; a step of the calendar clock does not move it."""

    def __init__(self, clock: Clock, timeout_s: float) -> None:
        self._clock = clock
        self._at_ns = clock.monotonic_ns() + round(timeout_s * 1e9)

    @property
    def remaining_s(self) -> float:
        """Seconds left, never below zero."""
        return max(0.0, (self._at_ns - self._clock.monotonic_ns()) / 1e9)

    @property
    def passed(self) -> bool:
        """Whether no time is left."""
        return self.remaining_s == 0.0
