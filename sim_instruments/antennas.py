"""The two arrays of the simulated localizer: distributions of our own from textbook tapers.

Course: six pairs, three quarters of a wavelength apart. CSB is a cosine taper over the aperture (a
narrow main lobe, low side lobes), SBO the derivative of that taper: a derivative across the
aperture is a factor of sin(azimuth) in the pattern (Fourier), so that S/C is a straight line.
Clearance: four pairs half a wavelength apart, CSB nearly all in the inner pair (wide), SBO like
the first terms of the series of a square wave, so that S/C is level out to the sides.
"""

from __future__ import annotations

import math
from typing import Final

from sim_instruments.array import Array, Pair

COURSE_PAIRS: Final = 6
COURSE_SPACING: Final = 0.75
"""Wavelengths."""
CLEARANCE_SPACING: Final = 0.5
CLEARANCE_CSB: Final = (1.0, 0.1, 0.0, 0.0)
CLEARANCE_SBO: Final = (0.1165, 0.0583, 0.0408, 0.0175)
"""In the ratio of 1 : 1/2 : 1/3 : 1/7, about; S/C is 0.165 at 20 degrees."""
CLEARANCE_LEVEL_DB: Final = -14.0
"""Clearance carrier below the course carrier on the course line."""


def course_array(wavelength_m: float) -> Array:
    """Return the course array; its SBO unit is not yet tuned to a width."""
    pairs = []
    for n in range(COURSE_PAIRS):
        x = (n + 0.5) / COURSE_PAIRS
        distance_m = (n + 0.5) * COURSE_SPACING * wavelength_m
        pairs.append(Pair(distance_m, math.cos(math.pi / 2 * x), math.sin(math.pi / 2 * x)))
    return Array.of_pairs(pairs)


def clearance_array(wavelength_m: float) -> Array:
    """Return the clearance array with its SBO as tuned."""
    return Array.of_pairs(
        [
            Pair((n + 0.5) * CLEARANCE_SPACING * wavelength_m, csb, sbo)
            for n, (csb, sbo) in enumerate(zip(CLEARANCE_CSB, CLEARANCE_SBO, strict=True))
        ]
    )
