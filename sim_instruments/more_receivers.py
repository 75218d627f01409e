"""Three more navigation receivers: one that talks on its own, one in uA, one in per cent."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import Demodulated
from sim_instruments.receivers import UA_PER_DDM, FrontEnd, LineSession, level_dbm, usable


class SkarvoyLr1:
    """Listens and talks: a line ten times a second, and no commands at all."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._front = FrontEnd(plant, connections, clock, 0.1)

    def session(self) -> SkarvoySession:
        """Return a new listener's line."""
        return SkarvoySession(self)

    def line(self) -> bytes:
        """Integrate for a tenth of a second and return what it says then."""
        seen = self._front.measure()
        if not usable(seen):
            return f"LOC,----,----,{level_dbm(seen):.1f}\r\n".encode("ascii")
        text = f"LOC,{seen.ddm:+.4f},{seen.sdm:.4f},{level_dbm(seen):.1f}\r\n"
        return text.encode("ascii")


class SkarvoySession:
    """One listener's line."""

    def __init__(self, receiver: SkarvoyLr1) -> None:
        self._receiver = receiver

    def feed(self, data: bytes) -> bytes:
        """Take bytes; it has no commands."""
        del data
        return b""

    def speak(self, gone: threading.Event) -> bytes:
        """Return the next line; see `sessions.Speaks`."""
        line = self._receiver.line()
        return b"" if gone.is_set() else line


class AskedReceiver:
    """What both receivers that are asked have in common: CR in, CR LF out.

    Parameters
    ----------
    front
        Takes and demodulates the signal.
    identity
        Answer to ``ID?``.
    queries
        What each question is answered with.
    """

    def __init__(
        self,
        front: FrontEnd,
        identity: bytes,
        queries: Mapping[bytes, Callable[[Demodulated], str]],
    ) -> None:
        self._front = front
        self._identity = identity
        self._queries = queries
        self._lock = threading.Lock()

    def session(self) -> LineSession:
        """Return a new client's line."""
        return LineSession(b"\r", self._answer)

    def _answer(self, line: bytes) -> bytes:
        if line == b"ID?":
            return self._identity + b"\r\n"
        if line not in self._queries:
            return b"ERR\r\n"
        with self._lock:
            seen = self._front.measure()
        return self._queries[line](seen).encode("ascii") + b"\r\n"


class VelmarkDr20(AskedReceiver):
    """Deviation in uA without a unit, positive when 150 Hz predominates."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        super().__init__(
            FrontEnd(plant, connections, clock, 0.1),
            b"VELMARK,DR-20,3310,4.4",
            {b"DEV?": lambda seen: f"{seen.ddm * UA_PER_DDM:+.1f}" if usable(seen) else "-----"},
        )


class DunholtPr3(AskedReceiver):
    """Ratios in per cent, positive when 150 Hz predominates, with a word on the signal."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        super().__init__(
            FrontEnd(plant, connections, clock, 0.1),
            b"DUNHOLT,PR-3,118,0.9",
            {
                b"DDM?": lambda seen: _per_cent(seen, f"{100 * seen.ddm:+.2f}"),
                b"SDM?": lambda seen: _per_cent(seen, f"{100 * seen.sdm:.2f}"),
            },
        )


def _per_cent(seen: Demodulated, text: str) -> str:
    return f"{text} %,OK" if usable(seen) else "--.-- %,NOSIG"
