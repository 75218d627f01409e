"""Clearance: lowest points found where they are, carriers compared one at a time."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.geometry import Position
from tests.support.ground import OffInstrument, ground

QUICK = {
    'inner_step = "1 deg"': 'inner_step = "2 deg"',
    'outer_step = "2.5 deg"': 'outer_step = "5 deg"',
}
LOW = {"tx1": {"clearance": {"sbo_level_db": -5.0, "power_db": 2.0}}}


def test_a_station_in_order_is_in_tolerance_everywhere():
    with ground(None, QUICK) as on:
        ran = on.run("clearance")
        carriers = on.plant.field_truth(Position(2000.0))
    assert ran.end.result == "finished"
    verdicts = {key: row["verdict"] for key, row in ran.judged().items()}
    assert verdicts == {
        "clearance/90 inner/verdict": "in tolerance",
        "clearance/90 outer/verdict": "in tolerance",
        "clearance/150 inner/verdict": "in tolerance",
        "clearance/150 outer/verdict": "in tolerance",
        "capture/verdict": "in tolerance",
    }
    at_centre = ran.requests["capture/ratio"]["places"][2]
    assert at_centre["azimuth_deg"] == 0.0
    assert at_centre["course_over_clearance_db"] == pytest.approx(
        carriers.course_to_clearance_db, abs=0.15
    )
    assert ran.requests["clearance/lowest"]["reached_150_side_deg"] == pytest.approx(35.0, abs=0.1)


def test_a_narrow_sag_between_two_places_is_found():
    """Two degrees apart, places step over the sag where course hands over to clearance."""
    with ground(LOW, QUICK) as on:
        truth = min(
            on.plant.field_truth(Position.at_azimuth(2000.0, float(a))).ddm
            for a in np.arange(8.0, 10.01, 0.1)
        )
        ran = on.run("clearance")
    row = ran.judged()["clearance/150 inner/verdict"]
    assert row["value"] == pytest.approx(truth, abs=0.003)
    assert row["verdict"] == "out of tolerance"


def test_a_side_that_never_reaches_the_inner_limit_is_judged_by_the_most_it_shows():
    weak = {"tx1": {"course": {"sbo_level_db": -12.0}, "clearance": {"sbo_level_db": -9.0}}}
    with ground(weak, QUICK) as on:
        ran = on.run("clearance")
    assert ran.end.result == "finished"
    row = ran.judged()["clearance/150 inner/verdict"]
    assert "the most is at" in row["title"]
    assert row["verdict"] == "out of tolerance"
    assert any("not reached" in told for told in ran.told)


def test_a_walk_with_a_reversed_sense_passes_no_clearance():
    """The receiver has the wrong sign, and somebody gave a reason why that was not looked at."""
    with ground(None, QUICK) as on:
        right = on.bench.instruments["receiver"]
        on.bench.instruments["receiver"] = OffInstrument(right, gain_error=-2.0)
        on.who.answers = {"sense/receiver/possible": False}
        ran = on.run("clearance")
    assert ran.end.result == "refused"
    assert "of the receiver or of its log is reversed" in ran.end.message
    assert not [key for key in ran.judged() if key.startswith("clearance/")]


def test_one_carrier_has_nothing_to_compare():
    with ground(None, {**QUICK, "carriers = 2": "carriers = 1"}) as on:
        ran = on.run("clearance")
    assert "capture/verdict" not in ran.requests
    assert any("not compared" in told for told in ran.told)


def test_a_carrier_that_is_not_switched_off_is_no_measurement():
    with ground(None, QUICK) as on:
        on.who.answers = {"course alone/off": False}
        ran = on.run("clearance")
    assert ran.end.result == "refused"
    assert "Switch the clearance carrier off" in ran.end.message


def test_marks_in_metres_are_no_circle():
    changes = {
        **QUICK,
        'source = "typed"\nu = "0.5 m"': 'source = "file"\nfile = "marks.csv"\nu = "0.5 m"',
    }
    with ground(None, changes) as on:
        (on.folder / "marks.csv").write_text("offset_m\n-5\n0\n5\n", encoding="utf-8")
        ran = on.run("clearance")
    assert "holds metres" in ran.end.message


def test_a_station_that_does_not_describe_it_is_refused():
    with ground() as on:
        on.bench.station = on.bench.station.model_copy(update={"clearance": None})
        ran = on.run("clearance")
    assert "no table [clearance]" in ran.end.message
