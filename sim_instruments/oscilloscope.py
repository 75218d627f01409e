"""Fernmark OS-4, a four-channel oscilloscope with SCPI, as its programming manual has it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.plant import Plant
from sim_instruments.scpi import Handler, ScpiInstrument, ScpiSession, asks, none_given, one_given
from sim_instruments.scpi_syntax import channel_in, choice, definite_block, number
from sim_instruments.signals import FloatArray
from sim_instruments.status import ScpiError

CHANNELS: Final = 4
CODES: Final = 256
NOTHING: Final = 9.91e37
OVER: Final = 9.9e37
GAIN_ERRORS: Final = (0.002, -0.0025, 0.001, -0.0005)
"""Relative gain error of each channel of this very instrument; the manual allows 0.3 per cent."""


@dataclass(slots=True)
class Settings:
    """What ``*RST`` brings back."""

    range_v: list[float] = field(default_factory=lambda: [4.0] * CHANNELS)
    coupling: list[str] = field(default_factory=lambda: ["DC"] * CHANNELS)
    sweep_s: float = 0.02
    points: int = 4000
    data_format: str = "REAL,32"
    border: str = "NORM"


@dataclass(frozen=True, slots=True)
class Record:
    """One acquisition: volts, shape ``(points,)``, and whether they left the range."""

    volts: FloatArray
    clipped: bool


class FernmarkOs4:
    """The oscilloscope; what its probes touch is what hands connected."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self.settings = Settings()
        self.scpi = ScpiInstrument("FERNMARK,OS-4,40117,1.6", self._commands(), self._reset)

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def acquire(self, channel: int) -> Record | None:
        """Take a fresh record on `channel` (1 to 4); None when nothing is connected.

        Waits on the clock for as long as the record lasts.
        """
        now = self.settings
        start_s = self._plant.now_s()
        self._clock.sleep(now.sweep_s)
        point = self._connections.probe(channel)
        if not self._plant.can_probe(point):
            return None
        volts = self._plant.volts(point, start_s, now.points / now.sweep_s, now.points)
        if now.coupling[channel - 1] == "AC":
            volts = volts - volts.mean()
        return self._convert(volts * (1 + GAIN_ERRORS[channel - 1]), now.range_v[channel - 1])

    @staticmethod
    def _convert(volts: FloatArray, range_v: float) -> Record:
        """Round to the converter's 256 codes over the range, centred on zero volts."""
        step_v = range_v / CODES
        codes = np.floor(volts / step_v)
        low, high = -CODES / 2, CODES / 2 - 1
        clipped = bool(codes.min() < low or codes.max() > high)
        return Record((np.clip(codes, low, high) + 0.5) * step_v, clipped)

    def _reset(self) -> None:
        self.settings = Settings()

    def _commands(self) -> dict[str, Handler]:
        return {
            "MEASure:VOLTage:PTPeak?": self._peak_to_peak,
            "SENSe#:VOLTage:RANGe[:UPPer]": self._set_range,
            "SENSe#:VOLTage:RANGe[:UPPer]?": self._range,
            "INPut#:COUPling": self._set_coupling,
            "INPut#:COUPling?": self._coupling,
            "SENSe:SWEep:TIME": self._set_sweep,
            "SENSe:SWEep:TIME?": asks(lambda: nr3(self.settings.sweep_s)),
            "SENSe:SWEep:POINts": self._set_points,
            "SENSe:SWEep:POINts?": asks(lambda: str(self.settings.points)),
            "FORMat[:DATA]": self._set_format,
            "FORMat[:DATA]?": asks(lambda: self.settings.data_format),
            "FORMat:BORDer": self._set_border,
            "FORMat:BORDer?": asks(lambda: self.settings.border),
            "TRACe:DATA?": self._trace,
        }

    def _peak_to_peak(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> str:
        record = self.acquire(channel_in(one_given(parameters), CHANNELS))
        if record is None:
            return nr3(NOTHING)
        return nr3(OVER if record.clipped else float(np.ptp(record.volts)))

    def _set_range(self, suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.range_v[_index(suffixes)] = number(one_given(parameters), 0.02, 40)

    def _range(self, suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> str:
        none_given(parameters)
        return nr3(self.settings.range_v[_index(suffixes)])

    def _set_coupling(self, suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.coupling[_index(suffixes)] = choice(one_given(parameters), "DC", "AC")

    def _coupling(self, suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> str:
        none_given(parameters)
        return self.settings.coupling[_index(suffixes)]

    def _set_sweep(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.sweep_s = number(one_given(parameters), 1e-4, 10)

    def _set_points(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.points = round(number(one_given(parameters), 100, 1_000_000))

    def _set_format(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        kind, *bits = parameters or ("",)
        short = choice(kind, "REAL", "ASCii")
        if short == "ASC":
            self.settings.data_format = "ASC"
            return
        width = bits[0] if bits else "32"
        if width not in ("32", "64") or len(bits) > 1:
            raise ScpiError(-224)
        self.settings.data_format = f"REAL,{width}"

    def _set_border(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        self.settings.border = choice(one_given(parameters), "NORMal", "SWAPped")

    def _trace(self, _suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> bytes:
        source = one_given(parameters).upper()
        digits = source.removeprefix("CHANNEL").removeprefix("CHAN")
        if digits == source or not digits.isdecimal():
            raise ScpiError(-224)
        record = self.acquire(round(number(digits, 1, CHANNELS)))
        volts = np.array([NOTHING]) if record is None else record.volts
        if self.settings.data_format == "ASC":
            return ",".join(nr3(value) for value in volts).encode("ascii")
        order = ">" if self.settings.border == "NORM" else "<"
        size = "f4" if self.settings.data_format.endswith("32") else "f8"
        return definite_block(volts.astype(order + size).tobytes())


def nr3(value: float) -> str:
    """Return `value` as NR3 with five digits: ``1.5031E+00``."""
    return f"{value:.4E}"


def _index(suffixes: tuple[int, ...]) -> int:
    if not 1 <= suffixes[0] <= CHANNELS:
        raise ScpiError(-114)
    return suffixes[0] - 1
