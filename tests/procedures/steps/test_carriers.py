"""One carrier off at a time, and on again."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.carriers import carrier_off
from tests.support.steps import stage


def test_a_carrier_is_off_within_the_block_only(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        place = {"along_m": 3120.0, "lateral_m": 0.0}
        before = on.under.sim.hands.do("field", place)["course_to_clearance_db"]
        with carrier_off(on.bench, "alone", "clearance"):
            assert "the clearance carrier is switched off" in on.bench.hazards["alone"].what
            assert on.under.sim.hands.do("field", place)["course_to_clearance_db"] != before
        assert on.under.sim.hands.do("field", place)["course_to_clearance_db"] == before
        assert on.bench.hazards == {}


def test_an_error_within_leaves_the_reminder_and_how_to_undo_it(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        with pytest.raises(Refused, match="enough"), carrier_off(on.bench, "alone", "course"):
            raise Refused("enough")
        (undo,) = on.bench.hazards["alone"].undo
    assert (undo.verb, undo.arguments) == ("switch carrier", {"carrier": "course", "state": "on"})


def test_a_carrier_that_stays_off_is_not_passed_over(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.answers = {"alone/on": False}
        with pytest.raises(Refused, match="on again"), carrier_off(on.bench, "alone", "course"):
            pass
        assert "alone" in on.bench.hazards
