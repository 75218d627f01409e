"""The course line: planned, judged, and what counts as out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from procedures.steps.course_line import begin_course, judge_course, measure_course
from tests.support.steps import Stage, stage


def requests(on: Stage) -> list[str]:
    return sorted(on.requests("judge"))


def test_places_are_planned_from_the_tailored_width(tmp_path: Path) -> None:
    """0.15 DDM at 0.00145 DDM/m is 103.4 m at the threshold."""
    with stage(tmp_path) as on:
        work = begin_course(on.bench)
    lateral = [place.offset_m[1] for place in work.planned]
    assert lateral[0] == pytest.approx(-103.45, abs=0.02)
    assert lateral[5] == 0.0
    assert work.nominal_per_m == pytest.approx(0.155 / 106.9)


def test_a_nearer_line_is_narrower(tmp_path: Path) -> None:
    with stage(tmp_path, changes={'along = "3120 m"\nreach': 'along = "312 m"\nreach'}) as on:
        work = begin_course(on.bench)
    assert work.planned[-1].offset_m == pytest.approx((312.0, 10.345), abs=0.01)


def test_what_is_out_is_told_from_what_holds(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        work = begin_course(on.bench)
        line = measure_course(work, "a", "as found")
        wide = replace(line, sensitivity_per_m=0.97 * work.nominal_per_m)
        aside = replace(line, alignment_m=-1.6)
        fixed = replace(work, table=work.table.model_copy(update={"alignment_control": ""}))
    assert work.holds(line)
    assert not work.holds(wide)
    assert work.width_is_out(wide)
    assert not work.holds(aside)
    assert fixed.holds(aside)  # nothing to set it with: judged, not chased


def test_verdicts_follow_the_category(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        work = begin_course(on.bench)
        line = replace(measure_course(work, "a", "as found"), alignment_m=9.5, alignment_u_m=0.4)
        judged = judge_course(work, "b", "as found", line)
    assert judged["alignment"].verdict == "out of tolerance"
    assert (judged["alignment"].limit.low, judged["alignment"].limit.high) == (-7.5, 7.5)
    assert judged["symmetry"].verdict == "in tolerance"
    assert set(judged) == {
        "alignment", "sensitivity change", "course width", "symmetry", "linearity",
    }  # fmt: skip
