"""The routine: found first, left alone where it is well, compared with the references."""

from __future__ import annotations

from datetime import date

import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.station_equipment import Routine
from procedures.commands.routine import due_procedures
from procedures.history.due import DueItem, due_at
from procedures.history.references import fix_references
from procedures.routine import routine_points
from tests.support.equipment import equipment_bench, notes, station_of, station_text, verdicts
from tests.support.operators import Minded


def test_what_is_within_its_limits_is_left_alone() -> None:
    with equipment_bench({"seed": 6}) as made:
        who = Minded(made.technician(1))
        end = made.run("routine", who)
        found, kept = verdicts(made, end), notes(made, end)
    assert end.result == "finished", end
    assert who.views == []
    assert {each.verdict for each in found.values()} == {"in tolerance"}
    assert kept["routine/result"]["need_attention"] == []
    assert not any("as left" in key for key in found)


def test_everything_is_read_as_found_before_anything_is_turned() -> None:
    with equipment_bench({"seed": 6, "width_ratio": 0.85}) as made:
        end = made.run("routine")
        with LogReader(made.writer.path) as reader:
            keys = [entry.key for entry in reader.entries(run=1, kind=Kind.OUTCOME)]
        kept = notes(made, end)
    assert end.result == "finished", end
    assert kept["routine/result"]["adjusted"] == ["course width"]
    turned = next(n for n, key in enumerate(keys) if "/adjust" in key)
    found = [n for n, key in enumerate(keys) if key.endswith("/as found")]
    left = [n for n, key in enumerate(keys) if key.endswith("/as left")]
    assert max(found) < turned < min(left)
    assert len(found) == len(left)


def test_what_nothing_sets_here_is_said_and_not_turned() -> None:
    with equipment_bench({"seed": 6, "alignment_ddm": 0.02}) as made:
        who = Minded(made.technician(1))
        end = made.run("routine", who)
        kept = notes(made, end)
    assert end.result == "finished"
    assert any("find the cause" in said for said in who.told)
    assert "course line" in kept["routine/result"]["need_attention"]  # type: ignore[operator]


def test_an_adjustment_is_offered_where_the_station_wants_that() -> None:
    asked = '[routine]\noffer = true\npoints = ["course width"]\n'
    text = station_text(("[routine]\n", asked))
    with equipment_bench({"seed": 6, "width_ratio": 0.98}, text=text) as made:
        who = Minded(made.technician(1), answers={"adjust all the same": False})
        made.run("routine", who)
        assert (len(who.views), "adjust all the same" in " ".join(who.asked_keys)) == (0, True)
        again = Minded(made.technician(2))
        made.run("routine", again)
    assert {view.control for view in again.views} == {"monitor width"}


def test_readings_are_compared_with_the_reference_values_in_force() -> None:
    """What drifted since the references were fixed is found, although it is within its limits."""
    points = '[routine]\npoints = ["course width", "course line"]\n'
    drift = ('drift_ddm = "0.010"', 'drift_ddm = "0.004"')
    text = station_text(("[routine]\n", points), drift)
    with equipment_bench({"seed": 6}, text=text) as made:
        made.run("routine")
        fix_references(made.writer, made.station, 1, "maintenance supervisor")
        made.sim.hands.do("turn control", {"control": "monitor width", "change_db": -0.55})
        who = Minded(made.technician(3))
        end = made.run("routine", who)
        found = verdicts(made, end)
    moved = found["routine/course width/as found/reference/verdict"]
    assert moved.value == pytest.approx(0.155 * (10 ** (-0.55 / 20.0) - 1.0), abs=0.001)
    assert moved.verdict == "out of tolerance"
    assert found["routine/course width/as found/verdict"].verdict == "in tolerance"
    assert found["routine/course line/as found/reference/verdict"].verdict == "in tolerance"
    assert any("its reference is" in said for said in who.told)


def test_without_references_only_the_limits_count_and_that_is_said() -> None:
    with equipment_bench({"seed": 6}) as made:
        who = Minded(made.technician(1))
        found = verdicts(made, made.run("routine", who))
    assert any("No reference values" in said for said in who.told)
    assert not any("reference" in key for key in found)


def test_points_out_in_the_field_and_frequencies_are_not_routine_readings() -> None:
    names = {point.name for point in routine_points(station_of(station_text()), Routine())}
    # A far-field monitor is a channel of the monitor: it has its own pick-up, nobody carries it.
    assert {"course width", "course line IF", "course CSB power", "far field monitor"} <= names
    assert not {name for name in names if name.endswith(", field") or "frequency" in name}


def item(procedure: str, state: str, kind: str = "routine") -> DueItem:
    day = date(2026, 11, 1)
    return DueItem(kind, procedure, procedure, day, day, state, "")  # type: ignore[arg-type]


def test_what_is_due_is_run_once_the_most_urgent_first() -> None:
    items = [
        item("alarms", "overdue"),
        item("", "overdue", "calibration"),
        item("routine", "never done"),
        item("alarms", "never done"),
        item("course", "due soon"),
        item("clearance", "later"),
    ]
    assert due_procedures(items) == ("alarms", "routine")
    assert due_procedures(items, soon=True) == ("alarms", "routine", "course")


def test_the_station_s_own_intervals_decide() -> None:
    own = '[[maintenance.routine]]\nname = "readings"\nprocedure = "routine"\ninterval = "30 d"\n\n'
    text = station_text(("[routine]\n", f"{own}[routine]\n"), ("tarnholt-16.tblog", "none.tblog"))
    due = due_at(station_of(text), date(2026, 11, 25))
    assert [each.procedure for each in due if each.kind == "routine"] == ["routine"]
