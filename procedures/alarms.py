"""Alarms: each is walked to, timed, and everything put back before the next."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from daq.station import Station
from daq.station_equipment import AlarmEntry
from procedures.engine.bench import Bench
from procedures.steps.alarm_check import check_alarm
from procedures.steps.preconditions import guidance_preconditions

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def alarms(bench: Bench) -> None:
    """Try every alarm of ``[alarms]`` that the station has the equipment for.

    Raises
    ------
    Refused
        The station file describes none, the unit is in alarm before it begins, or what was normal
        does not come back.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    table = bench.station.alarms
    if table is None:
        raise Refused(
            "The station file has no table [alarms].",
            hint="name the alarm unit's point and each alarm with its point and control.",
        )
    guidance_preconditions(bench)
    for entry in table.entries:
        if not _is_here(bench.station, entry):
            bench.tell(f"{entry.name}: skipped, this station has one carrier.")
            continue
        check_alarm(bench, entry)


def _is_here(station: Station, entry: AlarmEntry) -> bool:
    of_clearance = entry.kind == "clearance" or entry.carrier == "clearance"
    return station.station.carriers == 2 or not of_clearance
