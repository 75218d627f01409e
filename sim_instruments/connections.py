"""What each probe and the receiver are connected to: the state that hands change."""

from __future__ import annotations

import threading
from collections.abc import Mapping


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
        self._receiver = receiver
        self._probes = dict(probes or {})

    @property
    def receiver(self) -> str:
        """Point that the receiver is connected to; empty for none."""
        with self._lock:
            return self._receiver

    def probe(self, channel: int) -> str:
        """Return the point that the probe of `channel` touches; empty for none."""
        with self._lock:
            return self._probes.get(channel, "")

    def connect_receiver(self, point: str) -> None:
        """Move the receiver."""
        with self._lock:
            self._receiver = point

    def connect_probe(self, channel: int, point: str) -> None:
        """Move a probe."""
        with self._lock:
            self._probes[channel] = point
