"""Width and line set live, by what the traverse showed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.course_line import begin_course, measure_course
from procedures.steps.course_setting import set_alignment, set_width
from tests.support.ground import true_course
from tests.support.steps import stage

WIDE = {"tx1": {"course": {"sbo_level_db": -1.5}}}


def test_the_width_is_brought_to_nominal_wherever_the_point_lies(tmp_path: Path) -> None:
    changes = {
        'place = {along = "3120 m", lateral = "100 m"}': (
            'place = {along = "3120 m", lateral = "71 m"}'
        )
    }
    with stage(tmp_path, changes=changes, plant=WIDE) as on:
        work = begin_course(on.bench)
        set_width(work, "b", measure_course(work, "a", "as found"))
        after = true_course(on.under.sim.plant)
    assert after.sensitivity == pytest.approx(work.nominal_per_m, rel=0.015)


def test_a_reversed_sense_is_not_turned_with_a_level(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        work = begin_course(on.bench)
        line = measure_course(work, "a", "as found")
        with pytest.raises(Refused, match="sense is reversed"):
            set_width(work, "b", replace(line, sensitivity_per_m=-0.00145))


@pytest.mark.parametrize("lateral", ["0 m", "-20 m"])
def test_the_line_is_brought_onto_the_centreline_wherever_the_point_lies(
    lateral: str, tmp_path: Path
) -> None:
    place = 'place = {along = "3120 m", lateral = "0 m"}'
    with stage(
        tmp_path, changes={place: place.replace('"0 m"', f'"{lateral}"')},
        plant={"alignment_ddm": -0.012},
    ) as on:  # fmt: skip
        work = begin_course(on.bench)
        set_alignment(work, "b", measure_course(work, "a", "as found"))
        after = true_course(on.under.sim.plant)
    assert abs(after.alignment) < 1.5
