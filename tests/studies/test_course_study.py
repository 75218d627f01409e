"""100 seeded courses: set, and judged as the plant really is."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.ground import Called, called, check_calls, each, ground, table, true_course

NOMINAL_PER_M = 0.155 / 106.9


def course_calls(rng: np.random.Generator) -> list[Called]:
    """Run one course; verdicts as found and as left, with the truth of each moment."""
    plant = {
        "seed": int(rng.integers(1, 2**31)),
        "alignment_ddm": float(rng.uniform(-0.016, 0.016)),
        "tx1": {"course": {"sbo_level_db": float(rng.uniform(-2.2, 2.0))}},
    }
    with ground(plant) as on:
        on.err(rng)
        before = true_course(on.plant)
        ran = on.run("course")
        after = true_course(on.plant)
    assert ran.end.result == "finished", ran.end
    calls = []
    for moment, truth in (("as found", before), ("as left", after)):
        rows = ran.judged()
        if f"course/{moment}/alignment/verdict" not in rows:
            continue
        change = truth.sensitivity / NOMINAL_PER_M - 1.0
        for quantity, value in (("alignment", truth.alignment), ("sensitivity change", change)):
            calls.append(called(rows[f"course/{moment}/{quantity}/verdict"], value))
    # 2 % and 1.5 m are what the station accepts after an adjustment; the rest is the receiver's.
    assert abs(after.sensitivity / NOMINAL_PER_M - 1.0) < 0.02 + 0.02
    assert abs(after.alignment) < 1.5 + 2.0
    return calls


@pytest.mark.study
@pytest.mark.timeout(600)
def test_100_courses_are_judged_as_they_are() -> None:
    calls = [call for rng in each(100, seed=51) for call in course_calls(rng)]
    print("\n" + table("course, 100 seeded plants (invented), guarded acceptance", calls))
    check_calls(calls)


@pytest.mark.parametrize("number", range(5))
def test_a_sample_of_courses_is_judged_as_they_are(number: int) -> None:
    check_calls(course_calls(each(5, seed=7)[number]))
