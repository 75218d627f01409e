"""Course, whole runs in one process: positions from each source, what is set, what is refused."""

from __future__ import annotations

import pytest

from procedures.engine.runner import RunEnd
from tests.support.ground import OffInstrument, ground, true_course
from tests.support.operators import Minded

NOMINAL_PER_M = 0.155 / 106.9
OUT = {"alignment_ddm": 0.008, "tx1": {"course": {"sbo_level_db": -1.2}}}
GNSS = """
[[instruments]]
alias = "gnss"
class = "position receiver"
profile = "navelin-gp5"
resource = "ASRL./gnss.tty::INSTR"
calibrated = 2026-08-03
calibration_due = 2027-02-03

# Test points"""
BY_GNSS = {
    "\n# Test points": GNSS,
    'source = "typed"                        # or "file", or "position receiver"': (
        'source = "position receiver"\ninstrument = "gnss"\nfixes = ["single"]'
    ),
    'u = "0.05 m"\ncommon_u = "0.05 m"': 'u = "1 m"\ncommon_u = "1 m"',
}

TYPED = 'source = "typed"                        # or "file"'
BY_MARKS = {TYPED: 'source = "file"\nfile = "marks.csv"  #'}


def test_a_course_in_order_is_measured_and_left_alone():
    with ground() as on:
        ran = on.run("course")
        assert on.plant.truth().positions["course SBO level"] == 0.5
    assert ran.end == RunEnd(1, "finished", "", (), ran.end.digest)
    assert {row["verdict"] for row in ran.judged().values()} == {"in tolerance"}
    assert not any("adjust" in key for key in ran.requests)
    assert len([key for key in ran.requests if key.endswith("/ddm")]) == 11


def test_what_is_out_is_set_and_the_whole_traverse_walked_again():
    with ground(OUT) as on:
        before = true_course(on.plant)
        ran = on.run("course")
        after = true_course(on.plant)
    assert abs(before.sensitivity / NOMINAL_PER_M - 1) > 0.1
    assert abs(before.alignment) > 4.0
    assert ran.end.result == "finished"
    assert after.sensitivity == pytest.approx(NOMINAL_PER_M, rel=0.02)
    assert abs(after.alignment) < 1.5
    trim = ran.requests["course/round 1/width/trim"]
    assert trim["change_db"] == pytest.approx(1.2, abs=0.1)
    assert "course/as left/alignment/verdict" in ran.requests


def test_positions_of_marks_come_from_a_file_and_into_the_log():
    with ground(OUT, BY_MARKS) as on:
        marks = "\n".join(str(x) for x in (-90, -60, -30, 0, 35, 61.5, 88))
        (on.folder / "marks.csv").write_text(f"offset_m\n{marks}\n", encoding="utf-8")
        ran = on.run("course")
        after = true_course(on.plant)
    assert ran.end.result == "finished"
    assert after.sensitivity == pytest.approx(NOMINAL_PER_M, rel=0.02)
    rows = ran.requests["course/as found/line"]["places"]
    assert [row["lateral_m"] for row in rows] == [-90, -60, -30, 0, 35, 61.5, 88]


def test_marks_that_are_missing_are_refused():
    with ground(None, BY_MARKS) as on:
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "marks.csv" in ran.end.message


def test_a_position_receiver_says_where_the_receiver_really_stands():
    with ground(OUT, BY_GNSS) as on:
        ran = on.run("course")
        after = true_course(on.plant)
    assert ran.end.result == "finished", ran.end
    rows = ran.requests["course/as found/line"]["places"]
    assert all(abs(row["along_m"] - 3120.0) < 6.0 for row in rows)
    assert any(row["lateral_m"] != round(row["lateral_m"], 1) for row in rows)
    assert after.sensitivity == pytest.approx(NOMINAL_PER_M, rel=0.04)


def test_a_fix_of_a_kind_that_is_not_accepted_is_refused():
    strict = {before: after.replace('"single"', '"rtk fixed"') for before, after in BY_GNSS.items()}
    with ground(None, strict) as on:
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "accepts rtk fixed" in ran.end.message


def test_a_position_receiver_needs_the_site():
    site = '[site]\nlatitude = "57.25 deg"\nlongitude = "4.5 deg"\ncourse = "160 deg"\n'
    with ground(None, {**BY_GNSS, site: ""}) as on:
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "no table [site]" in ran.end.message


def test_an_instrument_that_knows_no_position_is_said():
    wrong = {
        k: v.replace('instrument = "gnss"', 'instrument = "scope"') for k, v in BY_GNSS.items()
    }
    with ground(None, wrong) as on:
        on.bench.instruments["scope"] = OffInstrument(on.bench.instruments["scope"])
        ran = on.run("course")
    assert "'scope' is no position receiver" in ran.end.message


def test_a_near_field_traverse_is_corrected():
    """At 400 m the array shows 0.985 of the far field's sensitivity; see the field's own truth."""
    changes = {
        'along = "3120 m"\nreach': 'along = "400 m"\nreach',
        "[course.positions]": "[course.near_field]\nsensitivity_factor = 0.985\n"
        "sensitivity_factor_u = 0.005\n\n[course.positions]",
    }
    with ground(None, changes) as on:
        truth = true_course(on.plant)
        ran = on.run("course")
    line = ran.requests["course/as found/line"]
    assert line["sensitivity_per_metre"] == pytest.approx(truth.sensitivity, rel=0.006)
    assert line["alignment_m"] == pytest.approx(truth.alignment, abs=1.5)


def test_a_reversed_sense_is_sent_back_to_phasing():
    with ground({"transmit_phase_error_deg": 180.0}) as on:
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "transmit-phasing" in ran.end.message


def test_a_control_at_its_stop_ends_the_run_with_what_to_look_for():
    with ground({"tx1": {"course": {"sbo_level_db": -6.0}}}) as on:
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "at its stop" in ran.end.message


def test_category_one_is_judged_by_metres_and_by_ddm():
    with ground(None, {'category = "II"': 'category = "I"'}) as on:
        ran = on.run("course")
    row = ran.requests["course/as found/alignment as DDM/verdict"]
    assert (row["low"], row["high"]) == (-0.015, 0.015)


def test_the_station_may_override_a_limit():
    own = "[limits.sensitivity_change]\nlow = -0.10\nhigh = 0.10\n\n[wide_alarm]"
    with ground(None, {"[wide_alarm]": own}) as on:
        ran = on.run("course")
    row = ran.requests["course/as found/sensitivity change/verdict"]
    assert (row["high"], row["status"]) == (0.10, "station file")


def test_a_run_that_was_cut_off_goes_on_without_asking_again():
    with ground(OUT) as on:
        stopped = Minded(on.bench.technician(1), answers={"place 7/position": KeyboardInterrupt()})
        with pytest.raises(KeyboardInterrupt):
            on.bench.run("course", stopped)
        again = Minded(on.bench.technician(1))
        end = on.bench.resume(1, again)
    assert end.result == "finished"
    assert "course/as found/place 6/position" not in again.asked_keys
    assert "course/as found/place 7/position" in again.asked_keys


def test_a_station_that_does_not_describe_it_is_refused():
    with ground() as on:
        on.bench.station = on.bench.station.model_copy(update={"course": None})
        ran = on.run("course")
    assert "no table [course]" in ran.end.message


def test_a_width_that_never_comes_near_enough_ends_with_what_to_look_for():
    strict = {
        'sensitivity_band = "2 %"': 'sensitivity_band = "0.0001 %"\nmax_rounds = 2',
    }
    with ground(None, strict) as on:
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "After 2 rounds the course line and the width do not hold together" in ran.end.message
    assert "course/round 2/line" in ran.requests
