"""One flat, upright sheet beside the runway, such as a hangar's wall, that makes bends."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim_instruments.geometry import Position
from sim_instruments.signals import ComplexArray, FloatArray


@dataclass(frozen=True, slots=True)
class Sheet:
    """The keys of ``[simulation.plant.sheet]``. It stands parallel to the runway.

    Attributes
    ----------
    lateral_m
        Distance from the course line, m, positive on the 150 Hz side; not zero.
    start_m, end_m
        Its ends along the runway, m from the array.
    reflection
        Factor of the reflected field, -1 to 1; 0: no sheet.
    """

    lateral_m: float = 250.0
    start_m: float = 900.0
    end_m: float = 1000.0
    reflection: float = 0.0

    def __post_init__(self) -> None:
        if not -1 <= self.reflection <= 1:
            raise ValueError(f"simulation.plant.sheet.reflection: -1 to 1, not {self.reflection}")
        if self.lateral_m == 0 or self.end_m <= self.start_m:
            raise ValueError(
                "simulation.plant.sheet: lateral_m is not to be 0, end_m is to be above start_m"
            )

    def image_distance_m(self, element_m: FloatArray, position: Position) -> FloatArray:
        """Return the length of the reflected ray from each element at lateral `element_m`."""
        across: FloatArray = position.lateral_m - (2 * self.lateral_m - element_m)
        return np.hypot(position.along_m, across)

    def gain(self, element_m: FloatArray, position: Position, wavelength_m: float) -> ComplexArray:
        """Return what the sheet does to the ray of a mirror without end, shape ``(n,)``.

        The part of the Fresnel integral that the sheet's two ends leave open (Born and Wolf,
        Principles of Optics, 8.7; from memory). Behind the sheet's plane there is nothing.
        """
        from scipy.special import fresnel

        side = math.copysign(1.0, self.lateral_m)
        before = side * (self.lateral_m - element_m)
        behind = side * (self.lateral_m - position.lateral_m)
        if self.reflection == 0 or behind <= 0 or before.min() <= 0 or position.along_m <= 0:
            return np.zeros(len(element_m), dtype=np.complex128)
        whole = self.image_distance_m(element_m, position)
        share = before / (before + behind)
        # Squeezed by the grazing angle, an end as far from the mirror point as one zone is wide.
        grazing = (before + behind) / whole
        zones = grazing * np.sqrt(2 / (wavelength_m * whole * share * (1 - share)))
        mirror_m = position.along_m * share
        low_s, low_c = fresnel((self.start_m - mirror_m) * zones)
        high_s, high_c = fresnel((self.end_m - mirror_m) * zones)
        open_part = (high_c - low_c) - 1j * (high_s - low_s)
        return np.asarray(self.reflection * open_part / (1 - 1j), dtype=np.complex128)
