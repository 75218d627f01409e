"""The logging receiver in a car: where it is, how late its values are, what its files hold."""

from __future__ import annotations

import csv
from datetime import datetime

import numpy as np
import pytest

from sim_instruments.clock import Clock
from sim_instruments.drive import CarPosition, Circle, OstrelDl4, Straight, Trip
from sim_instruments.geometry import Position
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant

BEGIN_S = 1.8e9


class StillClock:
    def monotonic_ns(self) -> int:
        return 0

    def utc_ns(self) -> int:
        return 0

    def sleep(self, seconds: float) -> None:
        del seconds


CLOCK: Clock = StillClock()


def plant(**given: object) -> Plant:
    return Plant(PlantParameters.from_table({"receiver_noise_ddm": 0.0, **given}), CLOCK)


def across(reach_m: float = 60.0, *, speed_m_s: float = 5.0, passes: int = 1) -> Trip:
    road = Straight(Position(3120.0, -reach_m), Position(3120.0, reach_m))
    return Trip(road, speed_m_s, passes=passes, rest_s=1.0)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(text.splitlines()))


def test_a_trip_rests_drives_and_comes_back() -> None:
    trip = across(10.0, speed_m_s=5.0, passes=2)
    places = [trip.place(t).lateral_m for t in (0.0, 1.0, 3.0, 5.0, 6.0, 8.0, 10.0, 99.0)]
    assert places == pytest.approx([-10.0, -10.0, 0.0, 10.0, 10.0, 0.0, -10.0, -10.0])
    assert trip.duration_s == pytest.approx(1.0 + 4.0 + 1.0 + 4.0 + 1.0)


def test_a_circle_keeps_its_distance() -> None:
    road = Circle(2000.0, -35.0, 35.0)
    assert road.length_m == pytest.approx(2000.0 * np.radians(70.0))
    middle = road.place(road.length_m / 2.0)
    assert (middle.radius_m, middle.azimuth_deg) == pytest.approx((2000.0, 0.0))


def test_its_sign_is_that_of_its_manual() -> None:
    """The last row is at the 150 Hz side, where DDM is positive: its deviation is negative."""
    last = rows(OstrelDl4().log(plant(), across(), BEGIN_S))[-1]
    assert float(last["Deviation uA"]) == pytest.approx(-60.0 * 0.00145 * 150 / 0.155, abs=0.6)
    assert last["State"] == "OK"


@pytest.mark.parametrize("smoothing_s", [0.0, 0.3, 1.0])
def test_on_a_ramp_its_values_are_late_by_its_lag(smoothing_s: float) -> None:
    """Where DDM is straight, the value at time t is that of the place at t - lag."""
    receiver, on = OstrelDl4(smoothing_s, every=1), plant()
    trip = across()
    found = rows(receiver.log(on, trip, BEGIN_S))
    at_s = np.array([datetime.fromisoformat(row["UTC"]).timestamp() - BEGIN_S for row in found])
    ddm = -np.array([float(row["Deviation uA"]) for row in found]) * 0.155 / 150
    # Away from the start, where the smoothing has settled, and before the rest at the end.
    used = (at_s > 11.0) & (at_s < 20.0)
    slope, start = np.polyfit(at_s[used], ddm[used], 1)
    crossing_s = -start / slope
    late_s = crossing_s - (1.0 + 60.0 / 5.0)
    assert late_s == pytest.approx(receiver.lag_s, abs=0.01)


def test_its_own_errors_are_in_every_value() -> None:
    right, wrong = (
        [float(row["Deviation uA"]) for row in rows(each.log(plant(), across(), BEGIN_S))]
        for each in (OstrelDl4(), OstrelDl4(gain_error=0.02, zero_ddm=0.001))
    )
    expected = 1.02 * np.array(right) - 0.001 * 150 / 0.155
    assert wrong == pytest.approx(expected, abs=0.02)


def test_its_clock_may_be_ahead() -> None:
    first = rows(OstrelDl4(every=1, clock_ahead_s=2.5).log(plant(), across(5.0), BEGIN_S))[0]
    assert datetime.fromisoformat(first["UTC"]).timestamp() == pytest.approx(BEGIN_S + 2.6)


def test_below_its_squelch_there_is_no_value() -> None:
    far = Trip(Straight(Position(3e5, -5.0), Position(3e5, 5.0)), 5.0, passes=1, rest_s=0.0)
    states = {(r["State"], r["Deviation uA"]) for r in rows(OstrelDl4().log(plant(), far, BEGIN_S))}
    assert states == {("LOW", "----")}


def test_the_track_is_where_the_car_is() -> None:
    """pynmea2 reads the sentences; not required, used where it is installed."""
    pynmea2 = pytest.importorskip("pynmea2")
    site, trip = plant().given.site, across(10.0)
    text = CarPosition(interval_s=1.0, noise_m=0.0).track(site, trip, BEGIN_S)
    sentences = [pynmea2.parse(line, check=True) for line in text.splitlines()]
    fixes = [each for each in sentences if each.sentence_type == "GGA"]
    assert len(fixes) == int(trip.duration_s) + 1
    assert {each.gps_qual for each in fixes} == {4}
    # 20 m to the east-north-east, at right angles to a landing on 160 degrees.
    north_m = (fixes[-1].latitude - fixes[0].latitude) * 111_300.0
    assert north_m == pytest.approx(-20.0 * np.sin(np.radians(160.0)), abs=0.1)
