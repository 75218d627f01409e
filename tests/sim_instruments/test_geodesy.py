"""Latitude and longitude of places, against a library of geodesics."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sim_instruments.geometry import Position, Site

PLACES = json.loads(
    (Path(__file__).parents[1] / "data" / "geodesic_places.json").read_text(encoding="utf-8")
)
"""Antenna, course, along, lateral, and the place's latitude and longitude; see the note beside."""


@pytest.mark.parametrize("row", PLACES[:: max(1, len(PLACES) // 20)])
def test_places_are_those_of_the_geodesic(row: list[float]) -> None:
    """10 km out the plane is 8 m above the ellipsoid, 12 mm to the side; 1e-7 degrees are 11 mm."""
    latitude, longitude, course, along, lateral, there_latitude, there_longitude = row
    site = Site(latitude, longitude, course)
    found = site.latitude_longitude(Position(along, lateral))
    assert found == pytest.approx((there_latitude, there_longitude), abs=1.5e-7)


def test_the_array_is_where_it_is() -> None:
    site = Site()
    found = site.latitude_longitude(Position(0.0))
    assert found == pytest.approx((site.latitude_deg, site.longitude_deg), abs=1e-12)
