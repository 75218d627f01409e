"""Clearance: a wide traverse to both sides, its lowest points, and which carrier is captured where.

Nothing is adjusted here. Between two places nothing is known; the station file says how far apart
they are.
"""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from procedures.engine.bench import Bench
from procedures.steps.capture import judge_capture, measure_capture
from procedures.steps.preconditions import guidance_preconditions
from procedures.steps.wide_traverse import measure_wide
from procedures.steps.wide_verdict import judge_wide, keep_wide

VERSION: Final = 3
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def clearance(bench: Bench) -> None:
    """Walk the wide traverse and judge it; then compare the carriers, where the station can.

    Raises
    ------
    Refused
        The station file does not describe it, or the readings do not cross the course line.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    table = bench.station.clearance
    if table is None:
        raise Refused(
            "The station file has no table [clearance].",
            hint="describe the wide traverse there: point, radius, steps.",
        )
    guidance_preconditions(bench)
    wide = measure_wide(bench, table)
    keep_wide(bench, wide)
    judge_wide(bench, wide)
    if table.capture_point and bench.station.station.carriers == 2:
        judge_capture(bench, measure_capture(bench, table))
    else:
        bench.tell(
            "The carriers are not compared: the station file names no capture_point, or there is "
            "one carrier."
        )
