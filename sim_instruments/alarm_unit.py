"""Halvorsund MA-3, the monitor's alarm unit, as its programming manual has it."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import FAR_FIELD_MONITOR, Plant
from sim_instruments.receiver_dsp import RATE_HZ, Demodulated, demodulate
from sim_instruments.receivers import LineSession
from sim_instruments.signals import Timebase

INTEGRATION_S: Final = 0.1


@dataclass(slots=True)
class Watched:
    """One parameter that is watched.

    Attributes
    ----------
    style
        How its value is written.
    value
        Returns it, or None where there is no such parameter.
    low, high
        Limits; infinite for none.
    delay_s
        How long it has to be out before the alarm comes.
    out_since_s
        Plant time at which it went out; None while it is in.
    """

    style: str
    value: Callable[[], float | None]
    low: float
    high: float
    delay_s: float
    out_since_s: float | None = None

    def look(self, now_s: float, moved_s: float) -> str:
        """Return its state; `moved_s` is the earliest moment at which it can have gone out."""
        value = self.value()
        if value is None:
            return "-"
        if self.low <= value <= self.high:
            self.out_since_s = None
            return "N"
        if self.out_since_s is None:
            self.out_since_s = moved_s
        return "A" if now_s - self.out_since_s >= self.delay_s else "P"


class HalvorsundMa3:
    """The alarm unit.

    It is asked now and then, and answers as if it had looked all the time: a parameter that is
    found out went out when a hand last moved something, or after it was last seen to be in.
    """

    def __init__(self, plant: Plant, _connections: Connections, _clock: Clock) -> None:
        self._plant = plant
        self._lock = threading.Lock()
        self._looked_s = 0.0
        self._watched = self._build()

    def session(self) -> LineSession:
        """Return a new client's line."""
        return LineSession(b"\r", self._answer)

    def states(self) -> dict[str, str]:
        """Return the state of each parameter by its two letters: N, P, A or -."""
        with self._lock:
            now_s = self._plant.now_s()
            moved_s = max(self._looked_s, self._plant.changed_s)
            found = {code: each.look(now_s, moved_s) for code, each in self._watched.items()}
            self._looked_s = now_s
            return found

    def _answer(self, line: bytes) -> bytes:
        words = line.decode("ascii", errors="replace").split(" ")
        if words == ["ID"]:
            return b"HALVORSUND MA-3,SN 1187,FW 1.0\r\n"
        if words == ["S"]:
            states = self.states()
            worst = max(states.values(), key="-NPA".index)
            each = " ".join(f"{code}={state}" for code, state in states.items())
            return f"S {worst} {each}\r\n".encode("ascii")
        if len(words) == 2 and words[0] in ("V", "L") and words[1] in self._watched:
            watched = self._watched[words[1]]
            said = self._value(watched) if words[0] == "V" else self._limits(watched)
            return f"{words[0]} {words[1]} {said}\r\n".encode("ascii")
        return b"?\r\n"

    @staticmethod
    def _value(watched: Watched) -> str:
        value = watched.value()
        return "----" if value is None else format(value, watched.style)

    @staticmethod
    def _limits(watched: Watched) -> str:
        ends = (watched.low, watched.high)
        written = [format(end, watched.style) if math.isfinite(end) else "----" for end in ends]
        return f"{written[0]} {written[1]} {watched.delay_s:.1f}"

    def _build(self) -> dict[str, Watched]:
        plant, limits = self._plant, self._plant.given.alarms
        sense = 1 if plant.given.wanted_tone == 150 else -1
        delay_s, none = limits.delay_s, math.inf
        shift, far = limits.course_shift_ddm, limits.far_field_ddm

        def ddm(point: str, sign: int = 1) -> Callable[[], float | None]:
            return lambda: sign * self._seen(point).ddm

        def sdm(point: str) -> Callable[[], float | None]:
            return lambda: self._seen(point).sdm

        low, high, least = limits.width_wide_ddm, limits.width_narrow_ddm, limits.clearance_ddm
        power, sums = limits.power_percent, (limits.sdm_low, limits.sdm_high)
        return {
            "CL": Watched("+.4f", ddm("course line"), -shift, shift, delay_s),
            "CW": Watched("+.4f", ddm("course width", sense), low, high, delay_s),
            "C9": Watched("+.4f", ddm("clearance 90", -1), least, none, delay_s),
            "C1": Watched("+.4f", ddm("clearance 150"), least, none, delay_s),
            "PC": Watched(
                ".1f", lambda: self._power_percent("course line", 0), power, none, delay_s
            ),
            "PL": Watched(
                ".1f", lambda: self._power_percent("clearance 150", 1), power, none, delay_s
            ),
            "SC": Watched(".4f", sdm("course line"), *sums, delay_s),
            "SL": Watched(".4f", sdm("clearance 150"), *sums, delay_s),
            "ID": Watched(".3f", self._ident_depth, limits.ident_depth, none, delay_s),
            "FF": Watched("+.4f", self._far_field, -far, far, limits.far_field_delay_s),
        }

    def _seen(self, point: str) -> Demodulated:
        samples = round(RATE_HZ * INTEGRATION_S)
        return demodulate(self._plant.field(point, Timebase(self._plant.now_s(), RATE_HZ, samples)))

    def _power_percent(self, point: str, which: int) -> float:
        carrier = self._plant.carriers(point, self._plant.now_s())[which]
        return 100 * abs(carrier.csb) ** 2

    def _ident_depth(self) -> float | None:
        if not self._plant.given.alarms.ident_depth:
            return None
        return self._plant.ident_depth

    def _far_field(self) -> float | None:
        if not self._plant.can_receive(FAR_FIELD_MONITOR):
            return None
        return self._seen(FAR_FIELD_MONITOR).ddm
