"""What was computed from many readings stands on the record's first page, with its verdict."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from daq.log.reader import LogReader
from procedures.record.collect import collect
from procedures.record.model import Record
from tests.support.ground import ground

OUT = {"alignment_ddm": 0.012, "tx1": {"course": {"sbo_level_db": -1.2}}}


@pytest.fixture(scope="module")
def record() -> Iterator[Record]:
    with ground(OUT) as on:
        on.run("course")
        with LogReader(on.bench.writer.path) as reader:
            yield collect(reader, 1)


def test_the_course_line_is_a_line_with_as_found_and_as_left(record: Record) -> None:
    lines = {line.point: line for line in record.summary}
    line = lines["course line"]
    assert line.found is not None
    assert line.left is not None
    assert line.found.worst is not None
    assert line.left.worst is not None
    assert line.found.worst.verdict == "out of tolerance"
    assert line.left.worst.verdict == "in tolerance"
    assert abs(line.left.measurement.value) < 1.5


def test_readings_of_the_traverse_are_no_lines_of_the_summary(record: Record) -> None:
    assert "course traverse" not in {line.point for line in record.summary}
    walked = [m for m in record.measured if m.measurement.point == "course traverse"]
    assert len(walked) == 22


def test_every_computed_verdict_is_counted(record: Record) -> None:
    computed = {line.point for line in record.summary} & {
        "course line", "displacement sensitivity", "course width", "course symmetry",
        "course linearity",
    }  # fmt: skip
    assert len(computed) == 5
