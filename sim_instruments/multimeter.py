"""Torvstad DM-6 multimeter, in an honest and in an older firmware, as its manual has them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import Plant
from sim_instruments.scpi import Handler, ScpiInstrument, ScpiSession, asks, does, one_given
from sim_instruments.scpi_syntax import boolean, number
from sim_instruments.status import ScpiError

LEADS: Final = 5
"""The probe that hands connect when they connect the multimeter."""
CYCLE_S: Final = 0.02
SAMPLES: Final = 2000
NOTHING: Final = 9.91e37
OVER: Final = 9.9e37
RANGES_V: Final = (0.1, 1.0, 10.0, 100.0)
GAIN_ERROR: Final = 0.0004
"""Of this very multimeter; the manual allows 0.1 per cent."""


@dataclass(slots=True)
class Settings:
    """What ``*RST`` brings back; `range_v` 0 is automatic."""

    function: str = "DC"
    range_v: float = 0.0
    cycles: float = 1.0
    count: int = 1
    header: bool = False


class TorvstadDm6:
    """The multimeter; its leads are probe 5.

    Parameters
    ----------
    plant, connections, clock
        What it measures, where its leads are, and how it waits.
    honest
        Whether ``*OPC`` and ``*OPC?`` wait for the acquisition, as the standard wants.
    """

    def __init__(
        self, plant: Plant, connections: Connections, clock: Clock, *, honest: bool = True
    ) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self._honest = honest
        self.settings = Settings()
        self._start_s: float | None = None
        self._length_s = 0.0
        self._ready_ns = 0
        self._value: float | None = None
        firmware = "2.0" if honest else "1.0"
        self.scpi = ScpiInstrument(f"TORVSTAD,DM-6,5521,{firmware}", self._commands(), self._reset)

    @classmethod
    def hasty(cls, plant: Plant, connections: Connections, clock: Clock) -> TorvstadDm6:
        """Return one with the older firmware, which says at once that it is done."""
        return cls(plant, connections, clock, honest=False)

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def _commands(self) -> dict[str, Handler]:
        return {
            "MEASure[:SCALar][:VOLTage][:DC]?": asks(lambda: self._measure("DC")),
            "MEASure[:SCALar][:VOLTage]:AC?": asks(lambda: self._measure("AC")),
            "CONFigure[:VOLTage][:DC]": does(lambda: self._configure("DC")),
            "CONFigure[:VOLTage]:AC": does(lambda: self._configure("AC")),
            "CONFigure?": asks(lambda: f'"VOLT:{self.settings.function}"'),
            "READ?": asks(self._read),
            "INITiate[:IMMediate]": does(self._initiate),
            "FETCh?": asks(self._fetch),
            "ABORt": does(self._abort),
            "*TRG": does(self._initiate),
            "*OPC": does(self._complete),
            "*OPC?": asks(self._completed),
            "*WAI": does(self._wait),
            "SENSe:VOLTage[:DC]:RANGe[:UPPer]": self._set_range,
            "SENSe:VOLTage[:DC]:RANGe[:UPPer]?": asks(lambda: f"{self.settings.range_v:.4E}"),
            "SENSe:VOLTage[:DC]:NPLCycles": self._set_cycles,
            "SENSe:VOLTage[:DC]:NPLCycles?": asks(lambda: f"{self.settings.cycles:.4E}"),
            "SENSe:AVERage:COUNt": self._set_count,
            "SENSe:AVERage:COUNt?": asks(lambda: str(self.settings.count)),
            "SYSTem:HEADer": self._set_header,
            "SYSTem:HEADer?": asks(lambda: str(int(self.settings.header))),
        }

    def _measure(self, function: str) -> str:
        self._configure(function)
        return self._read()

    def _configure(self, function: str) -> None:
        self._abort()
        self.settings.function = function

    def _read(self) -> str:
        self._initiate()
        self._wait()
        return self._fetch()

    def _initiate(self) -> None:
        """Start an acquisition; it goes on while other commands are taken."""
        self._start_s, self._value = self._plant.now_s(), None
        self._length_s = self.settings.count * self.settings.cycles * CYCLE_S
        self._ready_ns = self._clock.monotonic_ns() + round(self._length_s * 1e9)

    def _left_ns(self) -> int:
        """Return how long the acquisition still takes, ns; zero when it is over."""
        if self._start_s is None:
            return 0
        return max(0, self._ready_ns - self._clock.monotonic_ns())

    def _wait(self) -> None:
        while left_ns := self._left_ns():
            self._clock.sleep(left_ns / 1e9)

    def _complete(self) -> None:
        self.scpi.status.complete_when(lambda: not (self._honest and self._left_ns()))

    def _completed(self) -> str:
        if self._honest:
            self._wait()
        return "1"

    def _abort(self) -> None:
        self._start_s = self._value = None

    def _fetch(self) -> str:
        """Answer with the newest acquisition; -230 when there is none that is over."""
        if self._start_s is None or self._left_ns():
            raise ScpiError(-230)
        if self._value is None:
            self._value = self._volts(self._start_s)
        text = f"{self._value:.5E}"
        return f"VOLT:{self.settings.function} {text} V" if self.settings.header else text

    def _volts(self, start_s: float) -> float:
        point = self._connections.probe(LEADS)
        if not self._plant.can_probe(point):
            return NOTHING
        seen = self._plant.volts(point, start_s, SAMPLES / self._length_s, SAMPLES)
        dc = self.settings.function == "DC"
        value = float(seen.mean() if dc else seen.std()) * (1 + GAIN_ERROR)
        over = abs(value) > 1.2 * (self.settings.range_v or RANGES_V[-1])
        return math.copysign(OVER, value) if over else value

    def _reset(self) -> None:
        self.settings = Settings()
        self._abort()
        self.scpi.status.forget_completion()

    def _set_range(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        wanted_v = number(one_given(parameters), 0, RANGES_V[-1])
        fitting = [range_v for range_v in RANGES_V if range_v >= wanted_v]
        self.settings.range_v = fitting[0] if wanted_v else 0.0

    def _set_cycles(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.cycles = number(one_given(parameters), 0.1, 100)

    def _set_count(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.count = round(number(one_given(parameters), 1, 1000))

    def _set_header(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.header = boolean(one_given(parameters))
