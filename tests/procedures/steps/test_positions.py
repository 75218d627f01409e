"""Where the receiver stands, by each of the three sources."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.station_ground import FieldPlace, Positions
from procedures.steps.positions import Walk, marks_of, spread
from tests.support.steps import stage

TYPED = Positions()


def test_places_are_spread_evenly_with_one_in_the_middle() -> None:
    assert spread(10.0, 5) == [-10.0, -5.0, 0.0, 5.0, 10.0]


def test_what_is_typed_counts_and_not_what_was_planned(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.answers = {"a/position": 7.25}
        at = Walk(on.bench, "course traverse", TYPED).go("a", FieldPlace.at_offset(400.0, 7.0))
    assert (at.along_m, at.lateral_m) == (400.0, 7.25)
    (asked,) = on.who.asked
    assert (asked.unit, asked.suggestion) == ("m", 7.0)
    assert asked.action is not None
    assert asked.action.verb == "carry receiver"


def test_on_a_circle_the_azimuth_is_typed(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.answers = {"a/position": 30.0}
        at = Walk(on.bench, "clearance traverse", TYPED).go(
            "a", FieldPlace.at_azimuth(2000.0, 29.0)
        )
    assert at.lateral_m == pytest.approx(1000.0)
    assert on.who.asked[0].unit == "deg"


def test_after_walking_nobody_is_asked_to_connect_the_receiver(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        Walk(on.bench, "course traverse", TYPED).go("a", FieldPlace.at_offset(3120.0, 50.0))
        reading = on.bench.measure("b", "course traverse", label="here")
    assert on.who.asked_keys == ["a/position"]
    assert reading.value == pytest.approx(0.0725, abs=0.002)


def test_going_elsewhere_in_between_is_noticed(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        walk = Walk(on.bench, "course traverse", TYPED)
        walk.go("a", FieldPlace.at_offset(3120.0, 50.0))
        on.bench.measure("b", "course line", label="monitor")
        walk.go("c", FieldPlace.at_offset(3120.0, 60.0))
        on.bench.measure("d", "course traverse", label="here")
    assert on.who.asked_keys == ["a/position", "b/connect", "c/position"]


def test_without_a_file_there_are_no_marks(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        assert marks_of(on.bench, "marks", TYPED) is None
