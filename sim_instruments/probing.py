"""What a probe shows at each point, before its own noise."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, Protocol

import numpy as np

from sim_instruments.controls import Control
from sim_instruments.monitor import (
    DETECTOR_POINTS,
    IF_POINTS,
    NOMINAL_VPP,
    PHASE_DETECTOR,
    PHASE_DETECTOR_LEVEL,
    VOLT_POINTS,
    if_volts_per_unit,
)
from sim_instruments.ports import CSB_DETECTORS
from sim_instruments.signals import ComplexArray, FloatArray, Timebase

IF_HZ: Final = 20_000.0
PROBE_POINTS: Final = (*VOLT_POINTS, *CSB_DETECTORS)


class Field(Protocol):
    """Gives the signal at a point."""

    def __call__(self, point: str, time: Timebase, /) -> ComplexArray:
        """Return complex baseband about the nominal frequency, without noise."""


class Probes:
    """The points that a probe can touch.

    Parameters
    ----------
    field
        Gives the signal of a channel or port.
    separation_hz
        Gives the course carrier's frequency less the clearance carrier's.
    controls
        Of the monitor; level controls among them.
    shares
        S/C that each channel is to have, in the order of `monitor.CHANNELS`.
    """

    def __init__(
        self,
        field: Field,
        separation_hz: Callable[[], float],
        controls: Mapping[str, Control],
        shares: tuple[float, ...],
    ) -> None:
        self._field = field
        self._separation_hz = separation_hz
        self._controls = controls
        self._if_volts = {
            point: if_volts_per_unit(share) for point, share in zip(IF_POINTS, shares, strict=True)
        }

    def volts(self, point: str, time: Timebase) -> FloatArray:
        """Return volts at `point`, shape ``(n,)``; ValueError when there is nothing to probe."""
        if point in IF_POINTS:
            amplitude_v = self._if_volts[point] * abs(self._controls[f"{point} level"].gain)
            signal = self._field(point.removesuffix(" IF"), time) * time.rotor(IF_HZ)
            return amplitude_v * signal.real
        if point in DETECTOR_POINTS or point in CSB_DETECTORS:
            return np.abs(self._field(point.removesuffix(" detector"), time))
        if point == PHASE_DETECTOR:
            level_v = NOMINAL_VPP / 2 * abs(self._controls[PHASE_DETECTOR_LEVEL].gain)
            return level_v * time.rotor(self._separation_hz()).real
        raise ValueError(f"no probe point {point!r}; there are {', '.join(PROBE_POINTS)}")
