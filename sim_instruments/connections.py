"""What each instrument is connected to: the state that hands change."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Final, Literal

from sim_instruments.geometry import Position

ANTENNA: Final = "antenna"
"""Point of an analyzer whose aerial goes where the receiver is carried."""
Meter = Literal["power meter", "counter", "analyzer"]


class Connections:
    """Where the instruments look.

    Parameters
    ----------
    receiver
        Point at which the receiver starts; empty for none.
    probes
        Point of each oscilloscope channel at the start.
    """

    def __init__(self, receiver: str = "", probes: Mapping[int, str] | None = None) -> None:
        self._lock = threading.Lock()
        self._receiver: str | Position = receiver
        self._place = Position(0.0)
        self._probes = dict(probes or {})
        self._meters: dict[Meter, str] = {}

    @property
    def receiver(self) -> str | Position:
        """Point that the receiver is connected to (empty for none), or place it was carried to."""
        with self._lock:
            return self._receiver

    @property
    def place(self) -> Position:
        """Where the receiver was last carried, and the position receiver with it."""
        with self._lock:
            return self._place

    def meter(self, meter: Meter) -> str:
        """Return the port that a meter is connected to; empty for none."""
        with self._lock:
            return self._meters.get(meter, "")

    def probe(self, channel: int) -> str:
        """Return the point that the probe of `channel` touches; empty for none."""
        with self._lock:
            return self._probes.get(channel, "")

    def connect_receiver(self, point: str) -> None:
        """Connect the receiver to a named point."""
        with self._lock:
            self._receiver = point

    def carry_receiver(self, place: Position) -> None:
        """Carry the receiver, on its own antenna, to a place."""
        with self._lock:
            self._receiver = self._place = place

    def connect_meter(self, meter: Meter, point: str) -> None:
        """Connect a meter to a port."""
        with self._lock:
            self._meters[meter] = point

    def connect_probe(self, channel: int, point: str) -> None:
        """Move a probe."""
        with self._lock:
            self._probes[channel] = point
