"""Brunnhall PW-2 power meter and Vesterlo FC-6 counter, as their programming manuals have them."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import Plant
from sim_instruments.scpi import Handler, ScpiInstrument, ScpiSession, asks, one_given
from sim_instruments.scpi_syntax import choice, number
from sim_instruments.status import ScpiError

NOTHING: Final = 9.91e37
POWER_GAIN_ERROR: Final = 0.004
"""Of this very power meter and its sensor, ratio; the manual allows 2 per cent."""
POWER_NOISE_W: Final = 0.0005
READING_S: Final = 0.02
TIME_BASE_ERROR: Final = 1.3e-7
"""Of this very counter, ratio; the manual allows 0.5 parts per million."""


class BrunnhallPw2:
    """The power meter; its sensor is where hands connected it."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self._noise = np.random.default_rng((plant.given.seed, 2))
        self._unit = "W"
        self._count = 5
        self._last: float | None = None
        self.scpi = ScpiInstrument("BRUNNHALL,PW-2,30882,2.1", self._commands(), self._reset)

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def _read(self) -> str:
        self._clock.sleep(self._count * READING_S)
        point = self._connections.meter("power meter")
        if not self._plant.can_meter(point):
            self._last = NOTHING
            return self._shown(NOTHING)
        noise_w = POWER_NOISE_W * float(self._noise.standard_normal()) / math.sqrt(self._count)
        self._last = self._plant.power_w(point) * (1 + POWER_GAIN_ERROR) + noise_w
        return self._shown(self._last)

    def _shown(self, power_w: float) -> str:
        if power_w != NOTHING and self._unit == "DBM":
            power_w = 10 * math.log10(max(power_w, 1e-12) / 1e-3)
        return f"{power_w:.4E}" if power_w != NOTHING else "9.91E+37"

    def _fetch(self) -> str:
        if self._last is None:
            raise ScpiError(-230)
        return self._shown(self._last)

    def _reset(self) -> None:
        self._unit, self._count, self._last = "W", 5, None

    def _commands(self) -> dict[str, Handler]:
        return {
            "MEASure[:SCALar]:POWer[:AC]?": asks(self._read),
            "READ?": asks(self._read),
            "FETCh?": asks(self._fetch),
            "UNIT:POWer": self._set_unit,
            "UNIT:POWer?": asks(lambda: self._unit),
            "SENSe:AVERage:COUNt": self._set_count,
            "SENSe:AVERage:COUNt?": asks(lambda: str(self._count)),
        }

    def _set_unit(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self._unit = choice(one_given(parameters), "W", "DBM")

    def _set_count(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self._count = round(number(one_given(parameters), 1, 100))


class VesterloFc6:
    """The counter; it is connected where hands connected it."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self._noise = np.random.default_rng((plant.given.seed, 3))
        self._aperture_s = 0.1
        self._last: float | None = None
        self.scpi = ScpiInstrument("VESTERLO,FC-6,7719,1.12", self._commands(), self._reset)

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def _read(self) -> str:
        self._clock.sleep(self._aperture_s)
        point = self._connections.meter("counter")
        if self._plant.can_meter(point):
            jitter_hz = 0.1 * float(self._noise.standard_normal()) / self._aperture_s
            true_hz = self._plant.frequency_hz(point)
            self._last = true_hz * (1 + TIME_BASE_ERROR) + jitter_hz
        else:
            self._last = NOTHING
        return self._fetch()

    def _fetch(self) -> str:
        if self._last is None:
            raise ScpiError(-230)
        return f"{self._last:.9E}" if self._last != NOTHING else "9.91E+37"

    def _reset(self) -> None:
        self._aperture_s, self._last = 0.1, None

    def _commands(self) -> dict[str, Handler]:
        return {
            "MEASure[:SCALar][:VOLTage]:FREQuency?": asks(self._read),
            "READ[:FREQuency]?": asks(self._read),
            "FETCh[:FREQuency]?": asks(self._fetch),
            "SENSe:FREQuency:APERture": self._set_aperture,
            "SENSe:FREQuency:APERture?": asks(lambda: f"{self._aperture_s:.4E}"),
        }

    def _set_aperture(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self._aperture_s = number(one_given(parameters), 0.01, 10)
