"""The transmitter's own test ports: what a power meter, a counter or a detector finds there."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from sim_instruments.parameters import PlantParameters
from sim_instruments.radiation import Radiation
from sim_instruments.transmitting import CARRIERS, Carrier, CarrierName, TransmitterSide

CSB_PORTS: Final = tuple(f"{carrier} CSB" for carrier in CARRIERS)
SBO_PORTS: Final = tuple(f"{carrier} SBO" for carrier in CARRIERS)
POWER_POINTS: Final = (*CSB_PORTS, *SBO_PORTS)
BOTH_CSB: Final = "both CSB"
"""Output of a resistive combiner that both CSB ports are connected to."""
CSB_DETECTORS: Final = tuple(f"{port} detector" for port in (*CSB_PORTS, BOTH_CSB))
COMBINED: Final = (0.5, 0.25)
"""What the combiner leaves of the course and of the clearance carrier's amplitude: it takes 6 dB,
and a pad on the clearance side as much again."""


def carrier_of(port: str) -> CarrierName:
    """Return whose port it is."""
    return "course" if port.startswith("course") else "clearance"


def csb_at(port: str, side: TransmitterSide) -> Carrier:
    """Return CSB alone at a CSB port; amplitude 1 at nominal power."""
    return replace(side.emission(carrier_of(port)), sbo=0)


def both_csb(side: TransmitterSide) -> tuple[Carrier, Carrier]:
    """Return CSB alone of both carriers at the combiner."""
    course, clearance = (
        replace(carrier, csb=left * carrier.csb)
        for left, carrier in zip(COMBINED, (csb_at(port, side) for port in CSB_PORTS), strict=True)
    )
    return course, clearance


def power_w(
    point: str, side: TransmitterSide, radiation: Radiation, given: PlantParameters
) -> float:
    """Return what a thermal power meter absorbs at a port of `POWER_POINTS`, W.

    CSB: the carrier and m^2/2 of each tone (AM theory); SBO: as much as the array needs for the
    width that it is tuned to. A cable that is cut in the feed changes neither.
    """
    name = carrier_of(point)
    nominal_w = given.course_power_w if name == "course" else given.clearance_power_w
    emission = side.emission(name)
    tones = emission.modulation
    if point in SBO_PORTS:
        share = radiation.sbo_to_csb_power(course=name == "course")
        # Half of it is in each tone.
        share *= 1 - len(tones.silent) / 2
        return nominal_w * share * abs(emission.sbo) ** 2
    sidebands = (tones.depth_90**2 + tones.depth_150**2 + tones.ident_depth**2) / 2
    return nominal_w * abs(emission.csb) ** 2 * (1 + sidebands)
