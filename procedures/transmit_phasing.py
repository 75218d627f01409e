"""Transmit phasing: CSB to SBO out in the field, by the quarter-wave line, course and clearance.

It comes before the monitor's phasing, which then keeps the transmitter as it is.
"""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from procedures.engine.bench import Bench
from procedures.steps.phasing import phase_and_width
from procedures.steps.preconditions import guidance_preconditions

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""

CARRIERS: Final = ("course", "clearance")
"""Tables ``[phasing.NAME]`` of the transmitter, in the order in which they are done."""


def transmit_phasing(bench: Bench) -> None:
    """Bring SBO of each carrier into phase with its CSB.

    Raises
    ------
    Refused
        The station file describes none, the spare cable cannot do it, or the null does not hold.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    guidance_preconditions(bench)
    described = [name for name in CARRIERS if name in bench.station.phasing]
    if not described:
        raise Refused(
            "The station file has no table [phasing.course] and none [phasing.clearance].",
            hint="describe the point in the field, the line, the cables and the fine control.",
        )
    for name in described:
        phase_and_width(bench, name)
