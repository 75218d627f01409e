"""Places on the aerodrome and on earth."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.geometry import Position, Site

METRES = st.floats(-20_000, 20_000)


def test_axes_of_a_runway_that_is_landed_on_southward():
    """Landing due south: the approach lies north of the array, and right of the pilot is west."""
    site = Site(runway_bearing_deg=180.0)
    assert site.east_north_m(Position(1000.0)) == pytest.approx((0.0, 1000.0), abs=1e-6)
    assert site.east_north_m(Position(0.0, 100.0)) == pytest.approx((-100.0, 0.0), abs=1e-6)


@given(along=METRES, lateral=METRES, bearing=st.floats(0, 360))
def test_east_and_north_lead_back(along, lateral, bearing):
    """The two turns are each other's inverse, and keep distances."""
    site, place = Site(runway_bearing_deg=bearing), Position(along, lateral)
    east_m, north_m = site.east_north_m(place)
    assert math.hypot(east_m, north_m) == pytest.approx(place.radius_m, abs=1e-6)
    back = site.position(east_m, north_m)
    assert (back.along_m, back.lateral_m) == pytest.approx((along, lateral), abs=1e-6)


def test_azimuth_is_positive_on_the_right_of_the_approach():
    """10 degrees at 1 km: 174 m to the right."""
    place = Position.at_azimuth(1000.0, 10.0)
    assert place.lateral_m == pytest.approx(173.65, abs=0.01)
    assert place.azimuth_deg == pytest.approx(10.0)


def test_a_degree_of_latitude_and_longitude_on_wgs84():
    """Series for the length of a degree: 111132.95 - 559.85 cos 2p + 1.18 cos 4p north and
    111412.88 cos p - 93.5 cos 3p + 0.12 cos 5p east (textbook geodesy, from memory)."""
    p = math.radians(57.25)
    north_m = 111132.954 - 559.822 * math.cos(2 * p) + 1.175 * math.cos(4 * p)
    east_m = 111412.88 * math.cos(p) - 93.5 * math.cos(3 * p) + 0.118 * math.cos(5 * p)
    site = Site()
    latitude, _ = site.latitude_longitude(site.position(0.0, north_m / 100))
    assert latitude - site.latitude_deg == pytest.approx(0.01, rel=1e-4)
    _, longitude = site.latitude_longitude(site.position(east_m / 100, 0.0))
    assert longitude - site.longitude_deg == pytest.approx(0.01, rel=1e-4)


def test_meridians_draw_together_towards_the_north():
    """So far east is more degrees 3 km farther north: by tan(57.25 deg) over the earth's radius,
    6378 km, for each metre (spherical trigonometry)."""
    site = Site()
    _, here = site.latitude_longitude(site.position(3000.0, 0.0))
    _, there = site.latitude_longitude(site.position(3000.0, 3000.0))
    more = (there - site.longitude_deg) / (here - site.longitude_deg) - 1.0
    assert more == pytest.approx(3000.0 * math.tan(math.radians(57.25)) / 6.378e6, rel=0.01)


def test_impossible_places_are_refused():
    """The message names the key."""
    with pytest.raises(ValueError, match=r"simulation\.plant\.site\.latitude_deg"):
        Site(latitude_deg=91.0)
    with pytest.raises(ValueError, match=r"simulation\.plant\.site\.longitude_deg"):
        Site(longitude_deg=200.0)
