"""Solvang SA-2, a spectrum analyzer with one marker, as its programming manual has it."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import Plant
from sim_instruments.receivers import CARRIER_DBM
from sim_instruments.scpi import Handler, ScpiInstrument, ScpiSession, asks, does, one_given
from sim_instruments.scpi_syntax import boolean
from sim_instruments.signals import ComplexArray
from sim_instruments.status import ScpiError

RATE_HZ: Final = 48_000.0
SPAN_HZ: Final = 40_000.0
LINE_HZ: Final = 30.0
SWEEP_S: Final = 1 / LINE_HZ
NOTHING: Final = 9.91e37


class SolvangSa2:
    """The analyzer; it sees what the navigation receiver is connected to."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self._continuous = True
        self._peak: tuple[float, float] | None = None
        self.scpi = ScpiInstrument("SOLVANG,SA-2,904,1.3", self._commands(), self._reset)

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def _commands(self) -> dict[str, Handler]:
        return {
            "INITiate:CONTinuous": self._set_continuous,
            "INITiate:CONTinuous?": asks(lambda: str(int(self._continuous))),
            "INITiate[:IMMediate]": does(self._sweep),
            "CALCulate#:MARKer#:MAXimum": only_one(does(self._search)),
            "CALCulate#:MARKer#:X?": only_one(asks(lambda: f"{self._marker()[0]:.9E}")),
            "CALCulate#:MARKer#:Y?": only_one(asks(lambda: f"{self._marker()[1]:.4E}")),
        }

    def _set_continuous(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self._continuous = boolean(one_given(parameters))

    def _search(self) -> None:
        if self._continuous or self._peak is None:
            self._sweep()

    def _marker(self) -> tuple[float, float]:
        """Return frequency, Hz, and level, dBm, of the highest line."""
        self._search()
        return self._peak if self._peak is not None else (NOTHING, NOTHING)

    def _sweep(self) -> None:
        start_s = self._plant.now_s()
        self._clock.sleep(SWEEP_S)
        spot = self._connections.receiver
        if not self._plant.can_receive(spot):
            self._peak = None
            return
        samples = self._plant.baseband(spot, start_s, RATE_HZ, round(RATE_HZ * SWEEP_S))
        offset_hz, amplitude = highest_line(samples)
        level_dbm = CARRIER_DBM + 20 * math.log10(max(amplitude, 1e-9))
        self._peak = self._plant.given.frequency_hz + offset_hz, level_dbm

    def _reset(self) -> None:
        self._continuous, self._peak = True, None


def only_one(handler: Handler) -> Handler:
    """Return `handler` for a header of which there is number 1 only; -114 for any other."""

    def checked(suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> str | bytes | None:
        if any(suffix != 1 for suffix in suffixes):
            raise ScpiError(-114)
        return handler(suffixes, parameters)

    return checked


def highest_line(samples: ComplexArray) -> tuple[float, float]:
    """Return frequency (Hz from the middle) and amplitude of the highest line in the span.

    Hann window, so that a carrier between two lines reads 1.4 dB low at most (F. J. Harris, "On the
    use of windows", 1978, table 1).
    """
    window = np.hanning(len(samples))
    lines = np.abs(np.fft.fft(samples * window)) / window.sum()
    frequencies_hz = np.fft.fftfreq(len(samples), 1 / RATE_HZ)
    lines[np.abs(frequencies_hz) > SPAN_HZ / 2] = 0.0
    highest = int(lines.argmax())
    return float(frequencies_hz[highest]), float(lines[highest])
