"""One station file describes a station of any shape; what is not there is not there."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from daq.errors import StationFileError
from daq.station_equipment import AlarmEntry, Maintenance, ProfileEntry, TransmitterChecks
from tests.support.equipment import station_of, station_text, without_tables


def test_the_demonstration_has_every_table_in_si() -> None:
    station = station_of(station_text())
    assert station.transmitter is not None
    course = station.transmitter.carriers[0]
    assert (course.assigned_hz, course.normal_power_w) == (109.35475e6, 15.6)
    assert station.transmitter.detector_u == pytest.approx(0.002)
    assert station.transmitter.both_point == "both CSB detector"
    assert station.transmitter.ident is not None
    assert (station.transmitter.ident.suppressed, station.transmitter.ident.unequal) == (True, 0.1)
    assert station.alarms is not None
    assert station.alarms.poll_s == 1.0
    low = next(entry for entry in station.alarms.entries if entry.name == "sum of depths, low")
    assert low.setting == pytest.approx(0.36)
    assert [profile.kind for profile in station.flight_profiles] == [
        "wide", "narrow", "shifted", "shifted", "low power", "phasing",
    ]  # fmt: skip


def test_a_station_without_the_tables_is_one_too() -> None:
    tables = ("[transmitter", "[[transmitter", "[alarms", "[[alarms", "[[flight", "[routine")
    station = station_of(without_tables(station_text(), *tables))
    assert station.transmitter is None
    assert station.alarms is None
    assert station.flight_profiles == ()
    assert station.routine is None


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('state_point = "alarm state"', 'state_point = "nowhere"',
         r"alarms\.state_point: There is no point 'nowhere'"),
        ('detector_point = "course CSB detector"', 'detector_point = "x"', "point 'x'"),
        ('both_point = "both CSB detector"', 'both_point = "y"',
         r"transmitter\.both_point: There is no point 'y'"),
        ('unequal = "10 %"', 'unequal = "110 %"', "unequal"),
        ('name = "narrow"\nkind = "narrow"\npoint', 'name = "wide"\nkind = "narrow"\npoint',
         r"alarms\.entries\.4\.name: The alarm 'wide' stands twice"),
        ('setting = "36 %"\n', "", "needs setting"),
        ('normal_power = "15.6 W" ', "", "needs normal_power"),
    ],
)  # fmt: skip
def test_a_fault_is_told(before: str, after: str, says: str) -> None:
    with pytest.raises(StationFileError, match=says):
        station_of(station_text((before, after)))


def test_an_alarm_that_is_turned_needs_a_point_and_a_control_and_the_ident_does_not() -> None:
    assert AlarmEntry.model_validate({"name": "ident", "kind": "ident"}).point == ""
    with pytest.raises(ValidationError, match="needs point and control"):
        AlarmEntry.model_validate({"name": "wide", "kind": "wide", "point": "course width"})


def test_a_profile_is_set_by_something() -> None:
    with pytest.raises(ValidationError, match="needs settings"):
        ProfileEntry.model_validate({"name": "wide", "kind": "wide"})
    with pytest.raises(ValidationError, match="needs phasing"):
        ProfileEntry.model_validate({"name": "line", "kind": "phasing"})


def test_a_transmitter_has_a_carrier() -> None:
    with pytest.raises(ValidationError, match="carriers"):
        TransmitterChecks.model_validate({"carriers": []})


def test_intervals_stay_as_they_are_written() -> None:
    routine = [{"name": "readings", "procedure": "routine", "interval": "30 d"}]
    assert Maintenance.model_validate({"routine": routine}).routine[0].interval == "30 d"
