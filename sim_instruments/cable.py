"""A length of coaxial cable: what it does to a carrier."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from typing import Final

SPEED_OF_LIGHT_M_S: Final = 299_792_458.0
"""Exact by the definition of the metre (SI brochure, 9th edition)."""


@dataclass(frozen=True, slots=True)
class Cable:
    """A matched line, so that only delay and loss matter.

    Attributes
    ----------
    length_m
        Physical length, m.
    velocity_factor
        Speed in the cable over the speed of light.
    loss_db_per_m
        Loss at the carrier, dB/m, positive.
    """

    length_m: float
    velocity_factor: float
    loss_db_per_m: float = 0.0

    def __post_init__(self) -> None:
        if self.length_m < 0:
            raise ValueError(f"a cable of {self.length_m} m cannot be")
        if not 0 < self.velocity_factor <= 1:
            raise ValueError(f"velocity factor {self.velocity_factor} is not in 0 to 1")

    def wavelength_m(self, frequency_hz: float) -> float:
        """Return the wavelength in the cable, m: vf c / f."""
        return self.velocity_factor * SPEED_OF_LIGHT_M_S / frequency_hz

    def gain(self, frequency_hz: float) -> complex:
        """Return output over input as a phasor; the delay makes its angle negative."""
        angle_rad = -2 * math.pi * self.length_m / self.wavelength_m(frequency_hz)
        return cmath.rect(10 ** (-self.loss_db_per_m * self.length_m / 20), angle_rad)

    def shortened(self, length_m: float) -> Cable:
        """Return the cable with `length_m` cut off.

        Raises
        ------
        ValueError
            The cut is negative or longer than the cable.
        """
        if not 0 <= length_m <= self.length_m:
            raise ValueError(f"cannot cut {length_m:.4f} m off a cable of {self.length_m:.4f} m")
        return replace(self, length_m=self.length_m - length_m)


def line_of(angle_deg: float, loss_db: float, velocity_factor: float, frequency_hz: float) -> Cable:
    """Return the cable that delays by `angle_deg` at `frequency_hz` and loses `loss_db` in all."""
    wavelength_m = velocity_factor * SPEED_OF_LIGHT_M_S / frequency_hz
    length_m = angle_deg / 360 * wavelength_m
    return Cable(length_m, velocity_factor, loss_db / length_m if length_m else 0.0)
