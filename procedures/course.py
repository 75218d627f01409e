"""Course: alignment and displacement sensitivity by a traverse; width and line set; proved again.

The width is set with the SBO level at one point that is watched live, and the whole traverse is
walked again: a point shows that a control was turned, a traverse shows what came of it.
"""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from procedures.engine.bench import Bench
from procedures.steps.course_line import begin_course, judge_course, measure_course
from procedures.steps.course_setting import set_alignment, set_width
from procedures.steps.preconditions import guidance_preconditions

VERSION: Final = 3
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def course(bench: Bench) -> None:
    """Measure the course as found, set what is out, and measure it as left.

    Raises
    ------
    Refused
        The station file does not describe it, a control does not reach, or the line and the
        width do not hold together within the station's number of rounds.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    guidance_preconditions(bench)
    work = begin_course(bench)
    line = measure_course(work, "course/as found", "as found")
    judge_course(work, "course/as found", "as found", line)
    rounds = 0
    while not work.holds(line):
        rounds += 1
        if rounds > work.table.max_rounds:
            raise Refused(
                f"After {work.table.max_rounds} rounds the course line and the width do not hold "
                "together.",
                hint="look for a control that drifts, and at the phase of SBO (transmit-phasing).",
            )
        key = f"course/round {rounds}"
        if work.width_is_out(line):
            set_width(work, f"{key}/width", line)
        if work.alignment_is_out(line):
            set_alignment(work, f"{key}/alignment", line)
        line = measure_course(work, key, f"round {rounds}")
    if rounds:
        judge_course(work, "course/as left", "as left", line)
