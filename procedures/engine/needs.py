"""Which instruments of a station a procedure needs; only those are opened for it."""

from __future__ import annotations

from collections.abc import Iterable

from daq.roles import InstrumentClass
from daq.station import Station
from daq.station_equipment import Routine
from daq.station_names import equipment_points
from procedures.routine import routine_points


def every_instrument(station: Station) -> frozenset[str]:
    """Return the aliases of all instruments."""
    return frozenset(entry.alias for entry in station.instruments)


def no_instrument(station: Station) -> frozenset[str]:  # noqa: ARG001 - one shape for all
    """Return no alias: what is asked for is typed or read from files."""
    return frozenset()


def field_instruments(station: Station) -> frozenset[str]:
    """Return the aliases of what is carried into the field: receivers of guidance and position."""
    carried = (InstrumentClass.NAVIGATION_RECEIVER, InstrumentClass.POSITION_RECEIVER)
    return frozenset(e.alias for e in station.instruments if e.instrument_class in carried)


def monitor_instruments(station: Station) -> frozenset[str]:
    """Return the aliases that the monitor baseline reads: levels, phasing, profile, comparisons."""
    names = [p.name for p in station.points if p.quantity == "vpp" and p.target is not None]
    names += [station.phasing[name].point for name in ("monitor",) if name in station.phasing]
    names += station.monitor.channels
    if station.wide_alarm is not None:
        names += [station.wide_alarm.course_point, *station.wide_alarm.clearance_points]
    for pair in station.comparisons:
        names += [pair.first, pair.second]
    return at_points(station, names)


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
    return [name for place, name in equipment_points(station) if place[0] == table]


def at_points(station: Station, names: Iterable[str]) -> frozenset[str]:
    """Return the aliases of the instruments that read the named points."""
    return frozenset(station.point(name).instrument for name in names)
