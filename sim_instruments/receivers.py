"""Two navigation receivers with line protocols, as their programming manuals have them."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping
from typing import Final

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import RATE_HZ, Demodulated, demodulate

CARRIER_DBM: Final = -47.3
"""Input level that a carrier of amplitude 1 stands for."""
SQUELCH_DBM: Final = -75.0
OVER_MODULATED_SDM: Final = 0.6
UA_PER_DDM: Final = 150 / 0.155
"""150 uA at 0.155 DDM (ICAO Annex 10, half-sector deflection)."""
LINE_LIMIT: Final = 256


class FrontEnd:
    """What both receivers share: take the signal for a while, demodulate it, judge it."""

    def __init__(
        self, plant: Plant, connections: Connections, clock: Clock, integration_s: float
    ) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self._integration_s = integration_s

    def measure(self) -> Demodulated:
        """Integrate and demodulate; waits on the clock for the integration time."""
        start_s = self._plant.now_s()
        self._clock.sleep(self._integration_s)
        samples = round(self._integration_s * RATE_HZ)
        point = self._connections.receiver
        return demodulate(self._plant.baseband(point, start_s, RATE_HZ, samples))


def level_dbm(seen: Demodulated) -> float:
    """Return the input level, dBm."""
    return CARRIER_DBM + 20 * math.log10(max(seen.carrier, 1e-6))


def usable(seen: Demodulated) -> bool:
    """Whether there is a carrier above the squelch."""
    return level_dbm(seen) > SQUELCH_DBM and seen.sdm < 2


class LineSession:
    """Cut bytes into lines and answer each; a line that never ends is thrown away."""

    def __init__(self, terminator: bytes, answer: Callable[[bytes], bytes]) -> None:
        self._terminator = terminator
        self._answer = answer
        self._input = b""

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return the answers to every line that they complete."""
        *lines, rest = (self._input + data).split(self._terminator)
        self._input = rest if len(rest) <= LINE_LIMIT else b""
        return b"".join(self._answer(line) for line in lines)


class HalvorsundNr2:
    """Portable receiver; commands end with CR, answers with CR LF."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._front = FrontEnd(plant, connections, clock, 0.1)
        self._lock = threading.Lock()
        self._queries: Mapping[bytes, tuple[str, Callable[[Demodulated], float]]] = {
            b"DDM": ("+.4f", lambda seen: seen.ddm),
            b"SDM": (".4f", lambda seen: seen.sdm),
            b"M90": (".4f", lambda seen: seen.depth_90),
            b"M150": (".4f", lambda seen: seen.depth_150),
            b"F90": (".2f", lambda seen: seen.tone_90_hz),
            b"F150": (".2f", lambda seen: seen.tone_150_hz),
            b"LVL": (".1f", level_dbm),
        }

    def session(self) -> LineSession:
        """Return a new client's line."""
        return LineSession(b"\r", self._answer)

    def _answer(self, line: bytes) -> bytes:
        if line == b"ID":
            return b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n"
        if line not in self._queries:
            return b"?\r\n"
        style, value_of = self._queries[line]
        with self._lock:
            seen = self._front.measure()
        if not usable(seen):
            value, state = "----", "LOW"
        else:
            value = format(value_of(seen), style)
            state = "OVR" if seen.sdm > OVER_MODULATED_SDM else "OK"
        return f"{line.decode('ascii')} {value} {state}\r\n".encode("ascii")


class OstrelPir7:
    """Panel receiver; LF both ways, deviation in uA, positive when 90 Hz predominates."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._front = FrontEnd(plant, connections, clock, 0.2)
        self._lock = threading.Lock()
        self._queries: Mapping[bytes, Callable[[Demodulated], str]] = {
            b"Q:D": lambda seen: f"D={-seen.ddm * UA_PER_DDM:+.1f}uA",
            b"Q:M": lambda seen: f"M={100 * seen.sdm:.1f}%",
            b"Q:L": lambda seen: f"L={level_dbm(seen):.1f}dBm",
        }

    def session(self) -> LineSession:
        """Return a new client's line."""
        return LineSession(b"\n", self._answer)

    def _answer(self, line: bytes) -> bytes:
        if line == b"Q:I":
            return b"I=OSTREL/PIR7/0093/1.04\n"
        if line not in self._queries:
            return b"E=1\n"
        with self._lock:
            seen = self._front.measure()
        valid = usable(seen) and seen.sdm <= OVER_MODULATED_SDM
        return f"{self._queries[line](seen)};S={'A' if valid else 'V'}\n".encode("ascii")
