"""Tables of a station file for the work before the antennas."""

import math

import pytest
from pydantic import ValidationError

from daq.errors import StationFileError
from daq.station import load_station
from daq.station_ground import CableSet, FieldPlace, Positions
from tests.support.plants import STATION


def test_a_place_is_said_in_two_ways():
    across = FieldPlace.model_validate({"along": "400 m", "lateral": "-12 ft"})
    assert across.offset_m == pytest.approx((400.0, -12 * 0.3048))
    assert across.arguments == {"along_m": 400.0, "lateral_m": pytest.approx(-3.6576)}
    assert across.in_words == "400 m out, 3.66 m to the 90 Hz side"
    around = FieldPlace.model_validate({"radius": "2 km", "azimuth": "30 deg"})
    assert around.offset_m == pytest.approx((2000 * math.sqrt(3) / 2, 1000.0))
    assert around.in_words == "2000 m out, 30.00° to the 150 Hz side"
    assert FieldPlace.at_offset(3120.0, 0.0).in_words == "3120 m out, on the centreline"
    assert FieldPlace.at_azimuth(2000.0, 30.0) == around


@pytest.mark.parametrize(
    "place",
    [
        {},
        {"along": "400 m"},
        {"along": "400 m", "azimuth": "3 deg"},
        {"along": "400 m", "lateral": "1 m", "radius": "4 m"},
    ],
)
def test_a_place_that_is_half_said_is_refused(place):
    with pytest.raises(ValidationError, match="along and lateral, or radius and azimuth"):
        FieldPlace.model_validate(place)


@pytest.mark.parametrize("source", ["file", "position receiver"])
def test_a_source_of_positions_has_to_be_named(source):
    with pytest.raises(ValidationError, match="need"):
        Positions.model_validate({"source": source})


@pytest.mark.parametrize(
    ("cables", "match"),
    [
        ([{"name": "a", "length": "3 m"}], "at least 2"),
        ([{"name": "a", "length": "3 m"}, {"name": "a", "length": "3 m"}], "stands twice"),
        ([{"name": "a", "length": "3 m"}, {"name": "b"}], "'b' needs its length"),
        ([{"name": "../a", "length": "3 m"}, {"name": "b", "length": "3 m"}], "pattern"),
    ],
)
def test_a_set_of_cables_that_cannot_be_matched_is_refused(cables, match):
    with pytest.raises(ValidationError, match=match):
        CableSet.model_validate({"cables": cables})


@pytest.mark.parametrize(
    ("before", "after", "match"),
    [
        (
            'point = "course traverse"',
            'point = "curse traverse"',
            "'curse traverse'; did you mean 'course traverse'",
        ),
        (
            'capture_point = "carrier level, field"',
            'capture_point = "x"',
            r"clearance\.capture_point: There is no point 'x'",
        ),
        ('source = "typed"  ', 'source = "receiver"  ', "position receiver"),
        ('along = "3120 m"\nreach', 'along = "3120 V"\nreach', "length"),
    ],
)
def test_a_fault_in_the_ground_tables_is_told_with_its_place(tmp_path, before, after, match):
    text = STATION.read_text(encoding="utf-8")
    assert before in text
    path = tmp_path / "x.toml"
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(StationFileError, match=match):
        load_station(path)
