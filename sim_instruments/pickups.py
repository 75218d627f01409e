"""What the monitor's pick-ups and return lines make of the two emissions, channel by channel."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from sim_instruments.controls import Control
from sim_instruments.drift import RandomWalk
from sim_instruments.monitor import (
    CLEARANCE_SBO_SHARE,
    FINE_PHASE,
    LINE_SBO_SHARE,
    NOMINAL_WIDTH_DDM,
    WIDTH,
)
from sim_instruments.parameters import PlantParameters
from sim_instruments.paths import CableName, Path, carrier_hz
from sim_instruments.transmitting import Carrier

RETURNS: Final[Mapping[Literal["csb", "sbo"], CableName]] = {
    "csb": ("csb", "monitor"),
    "sbo": ("sbo", "monitor"),
}


class MonitorSide:
    """The monitor up to its channels; not safe on its own, the plant locks it.

    Parameters
    ----------
    given
        How it is found.
    paths, controls
        Shared with the plant, whose hands change them.
    rngs
        For the slow drift of phase and of level.
    """

    def __init__(
        self,
        given: PlantParameters,
        paths: Mapping[CableName, Path],
        controls: Mapping[str, Control],
        rngs: tuple[np.random.Generator, np.random.Generator],
    ) -> None:
        self._given = given
        self._paths = paths
        self._controls = controls
        self._phase_walk = RandomWalk(given.phase_drift_deg, rngs[0])
        self._level_walk = RandomWalk(given.level_drift_db, rngs[1])
        self._width_share = self.sense * NOMINAL_WIDTH_DDM / 2 * given.width_ratio
        self._loss = {name: abs(paths[name].gain(carrier_hz(given))) for name in RETURNS.values()}

    @property
    def sense(self) -> int:
        """1 when 150 Hz is to predominate at the width channel, -1 when 90 Hz is."""
        return 1 if self._given.wanted_tone == 150 else -1

    def shares(self) -> tuple[float, float, float, float]:
        """Return S/C that each channel is to have, in the order of `monitor.CHANNELS`."""
        width = self.sense * NOMINAL_WIDTH_DDM / 2
        return LINE_SBO_SHARE, width, -CLEARANCE_SBO_SHARE, CLEARANCE_SBO_SHARE

    def carriers(
        self, channel: str, course: Carrier, clearance: Carrier, leak: float, t_s: float
    ) -> tuple[Carrier, Carrier]:
        """Return both carriers at a channel at plant time `t_s`; see `Radiation.carriers`."""
        if channel.startswith("course"):
            csb, sbo = self._course(channel, course, leak, t_s)
            other = 10 ** (-self._given.clearance_in_course_db / 20) * clearance.csb
            return replace(course, csb=csb, sbo=sbo), replace(clearance, csb=other, sbo=0)
        sign = 1 if channel == "clearance 150" else -1
        other = 10 ** (-self._given.course_in_clearance_db / 20) * course.csb
        sbo = sign * CLEARANCE_SBO_SHARE * clearance.sbo
        return replace(course, csb=other, sbo=0), replace(clearance, sbo=sbo)

    def _course(
        self, channel: str, course: Carrier, leak: float, t_s: float
    ) -> tuple[complex, complex]:
        """Return C and S of the course carrier at its line or width channel."""
        csb = course.csb * self._through(RETURNS["csb"])
        sbo = course.sbo * self._through(RETURNS["sbo"])
        if channel == "course line":
            return csb, sbo * LINE_SBO_SHARE + leak * csb
        walk = cmath.rect(
            10 ** (self._level_walk.at(t_s) / 20), math.radians(self._phase_walk.at(t_s))
        )
        controls = self._controls[FINE_PHASE].gain * self._controls[WIDTH].gain
        return csb, sbo * self._width_share * controls * walk + leak * csb

    def _through(self, name: CableName) -> complex:
        return self._paths[name].gain(carrier_hz(self._given)) / self._loss[name]
