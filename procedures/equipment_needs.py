"""Which instruments the equipment's procedures read; see `procedures.needs`."""

from __future__ import annotations

from daq.station import Station
from daq.station_equipment import Routine
from procedures.needs import at_points
from procedures.routine import routine_points


def transmitter_instruments(station: Station) -> frozenset[str]:
    """Return the aliases that ``[transmitter]`` reads."""
    return at_points(station, _named(station, "transmitter"))


def alarm_instruments(station: Station) -> frozenset[str]:
    """Return the aliases that ``[alarms]`` reads, the alarm unit among them."""
    return at_points(station, _named(station, "alarms"))


def profile_instruments(station: Station) -> frozenset[str]:
    """Return the aliases that ``[[flight_profiles]]`` read."""
    phasings = [profile.phasing for profile in station.flight_profiles if profile.phasing]
    known = [station.phasing[name].point for name in phasings if name in station.phasing]
    return at_points(station, [*_named(station, "flight_profiles"), *known])


def routine_instruments(station: Station) -> frozenset[str]:
    """Return the aliases that the routine readings use."""
    points = routine_points(station, station.routine or Routine())
    return frozenset(point.instrument for point in points)


def _named(station: Station, table: str) -> list[str]:
    return [name for what, name in station.equipment_points() if what.startswith(table)]
