"""At which keys of a station file points and instruments are named: where one is not defined."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.station import Station
    from daq.station_equipment import TransmitterChecks
    from daq.toml_lines import Key

Named = list[tuple["Key", str]]
"""Keys, and the name that stands at each."""


def named_instruments(station: Station) -> Named:
    """Return where an instrument is named by its alias."""
    named: Named = [
        (("points", number, "instrument"), point.instrument)
        for number, point in enumerate(station.points)
    ]
    for what, table in (("course", station.course), ("clearance", station.clearance)):
        if table is not None and table.positions.instrument:
            named.append(((what, "positions", "instrument"), table.positions.instrument))
    return named


def named_points(station: Station) -> Named:
    """Return where a point is named; an empty name is none."""
    named: Named = [
        (("phasing", name, "point"), phasing.point) for name, phasing in station.phasing.items()
    ]
    named += _in_list(("monitor", "channels"), station.monitor.channels)
    if station.wide_alarm is not None:
        alarm = station.wide_alarm
        named.append((("wide_alarm", "course_point"), alarm.course_point))
        named += _in_list(("wide_alarm", "clearance_points"), alarm.clearance_points)
    for number, pair in enumerate(station.comparisons):
        named.append((("comparisons", number, "first"), pair.first))
        named.append((("comparisons", number, "second"), pair.second))
    if station.course is not None:
        for key in ("point", "width_point", "alignment_point"):
            named.append((("course", key), getattr(station.course, key)))
    if station.clearance is not None:
        for key in ("point", "capture_point"):
            named.append((("clearance", key), getattr(station.clearance, key)))
    return [(place, name) for place, name in named if name] + equipment_points(station)


def equipment_points(station: Station) -> Named:
    """Return where the tables for the equipment name a point; an empty name is none."""
    named: Named = []
    if station.transmitter is not None:
        named += _transmitter_points(station.transmitter)
    if station.alarms is not None:
        named.append((("alarms", "state_point"), station.alarms.state_point))
        for number, entry in enumerate(station.alarms.entries):
            place: Key = ("alarms", "entries", number)
            named += [((*place, "point"), entry.point), *_in_list((*place, "also"), entry.also)]
    for number, profile in enumerate(station.flight_profiles):
        place = ("flight_profiles", number, "settings")
        named += [((*place, i, "point"), each.point) for i, each in enumerate(profile.settings)]
    if station.routine is not None:
        named += _in_list(("routine", "points"), station.routine.points)
    return [(place, name) for place, name in named if name]


def _transmitter_points(checks: TransmitterChecks) -> Named:
    named: Named = [
        (("transmitter", "carriers", number, key), getattr(each, key))
        for number, each in enumerate(checks.carriers)
        for key in ("frequency_point", "power_point", "detector_point")
    ]
    named.append((("transmitter", "both_point"), checks.both_point))
    if checks.ident is not None:
        named.append((("transmitter", "ident", "point"), checks.ident.point))
    return named


def _in_list(place: Key, names: Sequence[str]) -> Named:
    return [((*place, number), name) for number, name in enumerate(names)]
