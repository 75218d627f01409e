"""An array of elements: what its currents make at a place, by complex sums over true distances.

Each element has a CSB and an SBO current. Pairs stand symmetrically about the middle, CSB in
phase and SBO in antiphase at a quarter turn, so that in the far field
C = 2 sum a_n cos(k d_n sin th) and S = 2 sum b_n sin(k d_n sin th) are both real: collinear
phasors. That is textbook array theory; nothing here uses it. The sums take each element's own
distance to the place, so the near field is what it is.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from sim_instruments.geometry import Position
from sim_instruments.sheet import Sheet
from sim_instruments.signals import ComplexArray, FloatArray


@dataclass(frozen=True, slots=True)
class Pair:
    """Two elements at ``+-distance_m`` from the middle, and the size of their currents."""

    distance_m: float
    csb: float
    sbo: float


@dataclass(frozen=True, slots=True, eq=False)
class Array:
    """Elements on a line across the runway.

    Attributes
    ----------
    lateral_m
        Where each element stands, m, shape ``(n,)``.
    csb, sbo
        Current of each element for one unit at the array's CSB and SBO input, shape ``(n,)``.
    """

    lateral_m: FloatArray
    csb: ComplexArray
    sbo: ComplexArray

    @classmethod
    def of_pairs(cls, pairs: Sequence[Pair]) -> Self:
        """Return the array, scaled so that its CSB is 1 far out on the course line.

        The element on the 150 Hz side has the retarded SBO current: there its path is the shorter
        one, and both together lead to an S that is in phase with C.
        """
        distance = np.array([pair.distance_m for pair in pairs])
        csb = np.array([pair.csb for pair in pairs])
        sbo = np.array([pair.sbo for pair in pairs])
        total = 2 * csb.sum()
        return cls(
            np.concatenate([distance, -distance]),
            np.concatenate([csb, csb]) / total + 0j,
            np.concatenate([-1j * sbo, 1j * sbo]) / total,
        )

    @property
    def sbo_to_csb_power(self) -> float:
        """Power that one unit of SBO takes at the input, over that of one unit of CSB."""
        return float(np.sum(np.abs(self.sbo) ** 2) / np.sum(np.abs(self.csb) ** 2))

    def at(
        self, position: Position, wavelength_m: float, sheet: Sheet | None = None
    ) -> tuple[complex, complex]:
        """Return C and S at `position`, over what C is at 1 m on the course line, times 1 m.

        Parameters
        ----------
        position
            Anywhere but on an element.
        wavelength_m
            In air.
        sheet
            A reflecting sheet whose ray is added.
        """
        across = position.lateral_m - self.lateral_m
        wave = _spherical(np.hypot(position.along_m, across), position.along_m, wavelength_m)
        if sheet is not None:
            wave = wave + sheet.gain(self.lateral_m, position, wavelength_m) * _spherical(
                sheet.image_distance_m(self.lateral_m, position), position.along_m, wavelength_m
            )
        # The phase of the middle's own ray is taken out: it turns C and S alike.
        middle = cmath.exp(2j * math.pi * position.radius_m / wavelength_m)
        return complex(wave @ self.csb) * middle, complex(wave @ self.sbo) * middle


def _spherical(distance_m: FloatArray, along_m: float, wavelength_m: float) -> ComplexArray:
    """Return the wave of unit elements whose own pattern is a cardioid to the front."""
    element = (1 + along_m / distance_m) / 2
    turned: ComplexArray = np.exp(-2j * math.pi * distance_m / wavelength_m)
    return element / distance_m * turned
