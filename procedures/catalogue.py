"""The procedures by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from daq.errors import InputError
from daq.station import Station
from procedures import (
    alarms,
    cable_set,
    clearance,
    course,
    flight_profiles,
    monitor_baseline,
    routine,
    sense,
    transmit_phasing,
    transmitter,
)
from procedures.engine.bench import Bench
from procedures.engine.needs import (
    alarm_instruments,
    every_instrument,
    field_instruments,
    monitor_instruments,
    no_instrument,
    profile_instruments,
    routine_instruments,
    transmitter_instruments,
)


@dataclass(frozen=True, slots=True)
class Procedure:
    """One procedure.

    Attributes
    ----------
    name
        What is typed: ``monitor-baseline``.
    version
        Raised when its steps change; a run is resumed only by the version that began it.
    summary
        One line for the help.
    work
        The function itself.
    needs
        Aliases of the instruments that it reads, of those that a station has.
    """

    name: str
    version: int
    summary: str
    work: Callable[[Bench], None]
    needs: Callable[[Station], frozenset[str]] = every_instrument


_ALL: Final = (
    Procedure(
        "transmitter",
        transmitter.VERSION,
        "frequencies, power, modulation and identification of each transmitter",
        transmitter.transmitter,
        transmitter_instruments,
    ),
    Procedure(
        "cable-set",
        cable_set.VERSION,
        "cables of one electrical length, from sweeps; match and insulation",
        cable_set.cable_set,
        no_instrument,
    ),
    Procedure(
        "transmit-phasing",
        transmit_phasing.VERSION,
        "CSB to SBO out in the field, course and clearance",
        transmit_phasing.transmit_phasing,
        field_instruments,
    ),
    Procedure(
        "course",
        course.VERSION,
        "alignment and displacement sensitivity by a traverse; width and line set",
        course.course,
        field_instruments,
    ),
    Procedure(
        "clearance",
        clearance.VERSION,
        "a wide traverse: lowest points per sector, course against clearance carrier",
        clearance.clearance,
        field_instruments,
    ),
    Procedure(
        "monitor-baseline",
        monitor_baseline.VERSION,
        "levels, monitor phasing and width, wide alarm profile",
        monitor_baseline.monitor_baseline,
        monitor_instruments,
    ),
    Procedure(
        "alarms",
        alarms.VERSION,
        "each alarm walked to and timed, and everything put back",
        alarms.alarms,
        alarm_instruments,
    ),
    Procedure(
        "flight-profiles",
        flight_profiles.VERSION,
        "states for the flight inspection set, verified, noted beside the flight's, removed",
        flight_profiles.flight_profiles,
        profile_instruments,
    ),
    Procedure(
        "routine",
        routine.VERSION,
        "readings as found against limits and reference values; adjusted only where out",
        routine.routine,
        routine_instruments,
    ),
    Procedure(
        "sense-check",
        sense.VERSION,
        "the sign of each receiver proved with a known predominance",
        sense.check_sense,
    ),
)

PROCEDURES: Final[Mapping[str, Procedure]] = MappingProxyType({p.name: p for p in _ALL})


def procedure(name: str) -> Procedure:
    """Return a procedure by name.

    Raises
    ------
    InputError
        There is none of that name; the message lists those that are there.
    """
    if name not in PROCEDURES:
        raise InputError(
            f"There is no procedure '{name}'.", hint=f"one of: {', '.join(sorted(PROCEDURES))}."
        )
    return PROCEDURES[name]
