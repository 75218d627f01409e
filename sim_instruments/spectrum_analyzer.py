"""Ostrel SA-4, a spectrum analyzer, as its programming manual has it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim_instruments.clock import Clock
from sim_instruments.connections import ANTENNA, Connections
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import RATE_HZ
from sim_instruments.receivers import CARRIER_DBM
from sim_instruments.scpi import Handler, ScpiInstrument, ScpiSession, asks, does, one_given
from sim_instruments.scpi_syntax import boolean, number
from sim_instruments.signals import FloatArray
from sim_instruments.status import ScpiError

POINTS: Final = 401
REACH_HZ: Final = 20_000.0
LEVEL_ERROR_DB: Final = 0.3
"""Of this very analyzer; the manual allows 1 dB."""
FLOOR: Final = 1e-7
"""Amplitude of its own noise floor."""
NOTHING: Final = "9.91E+37"


@dataclass(slots=True)
class Settings:
    """What ``*RST`` brings back, Hz; `marker_hz` is NaN where a search found nothing."""

    centre_hz: float
    marker_hz: float
    span_hz: float = 20_000.0
    bandwidth_hz: float = 30.0
    continuous: bool = True


@dataclass(frozen=True, slots=True)
class Sweep:
    """Frequencies (Hz) and levels (dBm), shape ``(n,)`` each; empty when nothing is connected."""

    frequency_hz: FloatArray
    level_dbm: FloatArray


class OstrelSa4:
    """The analyzer; its input is where hands connected it."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self.settings = self._fresh()
        self._kept: Sweep | None = None
        self.scpi = ScpiInstrument("OSTREL,SA-4,3318,0.9", self._commands(), self._reset)

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def sweep(self) -> Sweep:
        """Take one sweep over the span. Waits on the clock for as long as it takes."""
        from scipy.signal.windows import flattop

        now = self.settings
        start_s, length_s = self._plant.now_s(), 4 / now.bandwidth_hz
        self._clock.sleep(length_s)
        point = self._connections.meter("analyzer")
        spot = self._connections.place if point == ANTENNA else point
        if not self._plant.can_receive(spot):
            return Sweep(np.empty(0), np.empty(0))
        samples = round(length_s * RATE_HZ)
        # A flat top is 3.8 bins wide: that is the resolution bandwidth of this record.
        window = flattop(samples, sym=False)
        record = self._plant.baseband(spot, start_s, RATE_HZ, samples) * window
        padded = 4 * samples
        lines = np.fft.fftshift(np.abs(np.fft.fft(record, padded))) / window.sum()
        offset_hz = np.fft.fftshift(np.fft.fftfreq(padded, 1 / RATE_HZ))
        frequency_hz = self._plant.given.frequency_hz + offset_hz
        shown = np.abs(frequency_hz - now.centre_hz) <= now.span_hz / 2
        level_dbm = CARRIER_DBM + 20 * np.log10(lines[shown] + FLOOR) + LEVEL_ERROR_DB
        return Sweep(frequency_hz[shown], level_dbm)

    def _seen(self) -> Sweep:
        """Return a fresh sweep, or the one that stands on the screen while sweeps are single."""
        if self.settings.continuous:
            return self.sweep()
        if self._kept is None:
            raise ScpiError(-230)
        return self._kept

    def _start(self) -> None:
        self._kept = self.sweep()

    def _to_maximum(self) -> None:
        sweep = self._seen()
        found = sweep.level_dbm.size > 0
        highest_hz = float(sweep.frequency_hz[np.argmax(sweep.level_dbm)]) if found else math.nan
        self.settings.marker_hz = highest_hz

    def _marker_frequency(self) -> str:
        marker_hz = self.settings.marker_hz
        return NOTHING if math.isnan(marker_hz) else f"{marker_hz:.9E}"

    def _marker_level(self) -> str:
        sweep, marker_hz = self._seen(), self.settings.marker_hz
        if not sweep.level_dbm.size or math.isnan(marker_hz):
            return NOTHING
        off_hz = np.abs(sweep.frequency_hz - marker_hz)
        near = off_hz <= max(self.settings.bandwidth_hz, float(off_hz.min()))
        return f"{float(sweep.level_dbm[near].max()):.4E}"

    def _trace(self) -> str:
        sweep = self._seen()
        if not sweep.level_dbm.size:
            return NOTHING
        places = np.linspace(sweep.frequency_hz[0], sweep.frequency_hz[-1], POINTS)
        levels = np.interp(places, sweep.frequency_hz, sweep.level_dbm)
        return ",".join(f"{level:.4E}" for level in levels)

    def _fresh(self) -> Settings:
        nominal_hz = self._plant.given.frequency_hz
        return Settings(nominal_hz, nominal_hz)

    def _reset(self) -> None:
        self.settings, self._kept = self._fresh(), None

    def _commands(self) -> dict[str, Handler]:
        return {
            "SENSe:FREQuency:CENTer": self._set_centre,
            "SENSe:FREQuency:CENTer?": asks(lambda: f"{self.settings.centre_hz:.9E}"),
            "SENSe:FREQuency:SPAN": self._set_span,
            "SENSe:FREQuency:SPAN?": asks(lambda: f"{self.settings.span_hz:.4E}"),
            "SENSe:BANDwidth[:RESolution]": self._set_bandwidth,
            "SENSe:BANDwidth[:RESolution]?": asks(lambda: f"{self.settings.bandwidth_hz:.4E}"),
            "INITiate:CONTinuous": self._set_continuous,
            "INITiate:CONTinuous?": asks(lambda: str(int(self.settings.continuous))),
            "INITiate[:IMMediate]": does(self._start),
            "CALCulate#:MARKer#:MAXimum": only_one(does(self._to_maximum)),
            "CALCulate#:MARKer#:X": only_one(self._set_marker),
            "CALCulate#:MARKer#:X?": only_one(asks(self._marker_frequency)),
            "CALCulate#:MARKer#:Y?": only_one(asks(self._marker_level)),
            "TRACe:DATA?": asks(self._trace),
        }

    def _set_centre(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        reach_hz = REACH_HZ - self.settings.span_hz / 2
        nominal_hz = self._plant.given.frequency_hz
        low, high = nominal_hz - reach_hz, nominal_hz + reach_hz
        self.settings.centre_hz = number(one_given(parameters), low, high)
        self._kept = None

    def _set_span(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        off_hz = abs(self.settings.centre_hz - self._plant.given.frequency_hz)
        most_hz = 2 * (REACH_HZ - off_hz)
        self.settings.span_hz = number(one_given(parameters), 1e3, max(1e3, most_hz))
        self._kept = None

    def _set_bandwidth(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.bandwidth_hz = number(one_given(parameters), 10, 1000)
        self._kept = None

    def _set_continuous(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.continuous = boolean(one_given(parameters))
        self._kept = None

    def _set_marker(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        low = self.settings.centre_hz - self.settings.span_hz / 2
        high = self.settings.centre_hz + self.settings.span_hz / 2
        self.settings.marker_hz = number(one_given(parameters), low, high)


def only_one(handler: Handler) -> Handler:
    """Return `handler` for a header of which there is number 1 only; -114 for any other."""

    def checked(suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> str | bytes | None:
        if any(suffix != 1 for suffix in suffixes):
            raise ScpiError(-114)
        return handler(suffixes, parameters)

    return checked
