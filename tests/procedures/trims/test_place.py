"""Where a position lies before the antenna, against a library of geodesics.

``geodesic_places.json`` was computed by geographiclib 2.1 (C. Karney, geodesics on the WGS-84
ellipsoid): for each antenna, course and offset, the position that far away in that direction.
"""

import json
from pathlib import Path

import pytest

from procedures.trims.place import Antenna, offset_of

ROWS = json.loads((Path(__file__).parents[2] / "data" / "geodesic_places.json").read_text())


@pytest.mark.parametrize(
    "row", ROWS, ids=lambda row: f"{row[0]:g},{row[1]:g}/{row[2]:g}/{row[3]:g}"
)
def test_offsets_agree_with_geodesics(row):
    lat0, lon0, course, along, lateral, lat, lon = row
    offset = offset_of(Antenna(lat0, lon0, course), lat, lon)
    within_m = 0.001 if along <= 4000.0 else 0.005
    assert offset.along_m == pytest.approx(along, abs=within_m)
    assert offset.lateral_m == pytest.approx(lateral, abs=within_m)


def test_the_antenna_itself_is_at_nothing():
    offset = offset_of(Antenna(57.25, 4.5, 160.0), 57.25, 4.5)
    assert (offset.along_m, offset.lateral_m) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_the_right_of_an_aircraft_that_lands_southwards_is_the_west():
    """Landing on 180 degrees, an aircraft comes from the north and has the west on its right."""
    offset = offset_of(Antenna(57.0, 4.5, 180.0), 57.01, 4.49)
    assert offset.along_m > 1000.0
    assert offset.lateral_m > 100.0
