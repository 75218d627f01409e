"""Bring a localizer's monitor to its baseline.

Cautions and preconditions, signal levels, monitor phasing and width, the monitor's other channels,
the wide alarm profile, and a comparison of the instruments that look at the same signal.
"""

from __future__ import annotations

from typing import Final

from procedures.engine.bench import Bench
from procedures.steps.channels import monitor_channels
from procedures.steps.comparison import compare_instruments
from procedures.steps.levels import signal_levels
from procedures.steps.phasing import phase_and_width
from procedures.steps.preconditions import guidance_preconditions
from procedures.steps.wide_alarm import wide_alarm

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def monitor_baseline(bench: Bench) -> None:
    """Run the whole baseline; returns when every step is done.

    Raises
    ------
    Refused
        The procedure will not begin or go on; the message says why.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    guidance_preconditions(bench)
    signal_levels(bench)
    phase_and_width(bench, "monitor")
    monitor_channels(bench)
    if bench.station.wide_alarm is not None:
        wide_alarm(bench)
    compare_instruments(bench)
