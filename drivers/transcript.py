"""The last lines that went over the wire, for whoever asks what was really said."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Literal

from daq.clock import Clock
from daq.errors import show

Direction = Literal["sent", "received", "dropped"]


@dataclass(frozen=True, slots=True)
class Line:
    """One message on the wire.

    Attributes
    ----------
    direction
        ``dropped`` is what arrived and belonged to no question.
    data
        The bytes, at most 4096 of them.
    mono_ns
        Monotonic time, ns.
    """

    direction: Direction
    data: bytes
    mono_ns: int

    def __str__(self) -> str:
        mark = {"sent": "->", "received": "<-", "dropped": "xx"}[self.direction]
        return f"{mark} {show(self.data)}"


class Transcript:
    """A ring of the last `size` lines."""

    def __init__(self, clock: Clock, size: int = 200) -> None:
        self._clock = clock
        self._lines: deque[Line] = deque(maxlen=size)

    def add(self, direction: Direction, data: bytes) -> None:
        """Note a message; empty ones are not noted."""
        if data:
            self._lines.append(Line(direction, data[:4096], self._clock.monotonic_ns()))

    def lines(self) -> tuple[Line, ...]:
        """Return what is kept, oldest first."""
        return tuple(self._lines)

    def forget(self) -> None:
        """Begin anew."""
        self._lines.clear()
