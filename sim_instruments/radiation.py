"""Both carriers at a place: what the arrays make of the emissions, tuned to a width."""

from __future__ import annotations

from functools import lru_cache

from sim_instruments.antennas import CLEARANCE_LEVEL_DB, clearance_array, course_array
from sim_instruments.cable import SPEED_OF_LIGHT_M_S
from sim_instruments.geometry import Position
from sim_instruments.parameters import PlantParameters
from sim_instruments.receiver_dsp import RATE_HZ, demodulate
from sim_instruments.sheet import Sheet
from sim_instruments.signals import ComplexArray, Modulation, Timebase
from sim_instruments.transmitting import Carrier

EDGE_DDM = 0.155
"""Course sector edge (ICAO Annex 10, Vol. I, 3.1.1)."""


class Radiation:
    """The two arrays and what stands around them.

    Amplitudes are over that of the tuned course carrier at the threshold.
    """

    def __init__(self, given: PlantParameters) -> None:
        self._threshold_m = given.threshold_m
        self._wavelength_m = SPEED_OF_LIGHT_M_S / given.frequency_hz
        self._sheet: Sheet | None = given.sheet if given.sheet.reflection else None
        self._course = course_array(self._wavelength_m)
        self._clearance = clearance_array(self._wavelength_m)
        self._level = 10 ** (CLEARANCE_LEVEL_DB / 20)
        self._sbo = _tuned_sbo(
            self._wavelength_m,
            given.threshold_m,
            given.threshold_sensitivity_ddm_per_m,
            given.carrier_offset_hz,
        )

    def carriers(
        self, course: Carrier, clearance: Carrier, leak: float, position: Position
    ) -> tuple[Carrier, Carrier]:
        """Return both carriers at `position`.

        Parameters
        ----------
        course, clearance
            What is fed to the arrays.
        leak
            Part of the course CSB that is added to the course SBO in the array's feed.
        position
            A metre or more from the array.

        Raises
        ------
        ValueError
            Nearer than a metre.
        """
        if position.radius_m < 1:
            raise ValueError(f"{position.radius_m:.2f} m from the array is among its elements")
        c, s = self._course.at(position, self._wavelength_m, self._sheet)
        near_c, near_s = self._clearance.at(position, self._wavelength_m, self._sheet)
        scale, level = self._threshold_m, self._level * self._threshold_m
        sbo = course.sbo * self._sbo * s + leak * course.csb * c
        return (
            Carrier(course.offset_hz, scale * course.csb * c, scale * sbo, course.modulation),
            Carrier(
                clearance.offset_hz,
                level * clearance.csb * near_c,
                level * clearance.sbo * near_s,
                clearance.modulation,
            ),
        )

    def sbo_to_csb_power(self, *, course: bool) -> float:
        """Return the power of tuned SBO over that of the carrier, at the array's inputs."""
        if course:
            return self._course.sbo_to_csb_power * self._sbo**2
        return self._clearance.sbo_to_csb_power


def summed(carriers: tuple[Carrier, ...], time: Timebase) -> ComplexArray:
    """Return the sum of `carriers` as complex baseband about the nominal frequency."""
    total: ComplexArray | None = None
    for carrier in carriers:
        wave = carrier.modulation.carrier(time, carrier.csb, carrier.sbo)
        wave *= time.rotor(carrier.offset_hz)
        total = wave if total is None else total + wave
    return total if total is not None else time.rotor(0.0) * 0


@lru_cache(maxsize=32)
def _tuned_sbo(
    wavelength_m: float, threshold_m: float, ddm_per_m: float, offset_hz: float
) -> float:
    """Return the course SBO with which 0.155 DDM stands where it should at the threshold.

    Found as it is on a real one: by measuring there, with both carriers on, and correcting.
    """
    edge = Position(threshold_m, EDGE_DDM / ddm_per_m)
    course, clearance = course_array(wavelength_m), clearance_array(wavelength_m)
    level = 10 ** (CLEARANCE_LEVEL_DB / 20)
    c, s = course.at(edge, wavelength_m)
    near_c, near_s = clearance.at(edge, wavelength_m)
    sbo = EDGE_DDM / 2 / abs(s / c)
    time, ideal = Timebase(0.0, RATE_HZ, round(RATE_HZ / 10)), Modulation()
    for _ in range(4):
        field = summed(
            (
                Carrier(offset_hz, threshold_m * c, threshold_m * sbo * s, ideal),
                Carrier(
                    -offset_hz, threshold_m * level * near_c, threshold_m * level * near_s, ideal
                ),
            ),
            time,
        )
        sbo *= EDGE_DDM / demodulate(field).ddm
    return sbo
