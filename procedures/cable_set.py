"""Cable set: feed and monitor cables of one electrical length, sound, matched and insulated."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from procedures.engine.bench import Bench
from procedures.steps.cable_matching import SetWork, check_condition, match_set
from procedures.steps.preconditions import preconditions

VERSION: Final = 1
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def cable_set(bench: Bench) -> None:
    """Check and match every set of the station.

    Raises
    ------
    Refused
        The station file describes no set, a sweep cannot be used, or a cable has not enough to
        spare.
    Aborted
        The technician stopped it.
    """
    if not bench.station.cable_sets:
        raise Refused(
            "The station file has no table [cable_sets.NAME].",
            hint="list there the cables that have to be of one electrical length.",
        )
    preconditions(bench)
    for name, table in bench.station.cable_sets.items():
        work = SetWork(bench, name, table)
        check_condition(work)
        match_set(work)
