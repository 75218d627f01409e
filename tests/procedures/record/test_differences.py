"""What a run read beside the reference values that were in force."""

from __future__ import annotations

import csv
import math
import re

import pytest
from pypdf import PdfReader

from daq.errors import InputError
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.reading import Quality
from procedures.history.references import all_versions
from procedures.record.csv_export import COLUMNS, COMPARED_COLUMNS
from procedures.record.differences import ReadingsCompared, compared_lines
from procedures.record.make import RecordFiles, write_record
from procedures.record.model import ComparedLine
from tests.procedures.history.reference_rows import LEVEL, QUADRATURE, WIDTH, write_references
from tests.procedures.record.run_log import RunLog, write_reversed_width

VALUES = {"course width": WIDTH, "course width, quadrature": QUADRATURE, "course line IF": LEVEL}
RUN = 2


def after_references(log: RunLog) -> None:
    """Make the next run of the log one that begins after references were fixed."""
    write_references(log.writer, VALUES)
    log.run = log.journal.run = RUN


def compared(log: RunLog, run: int = RUN) -> tuple[ComparedLine, ...]:
    log.writer.close()
    with LogReader(log.path) as reader:
        return compared_lines(reader, run)


def made(log: RunLog, run: int = RUN) -> tuple[RecordFiles, str]:
    """Return the files of a record, and all text of its PDF."""
    log.writer.close()
    files = write_record(log.path, run, log.path.parent)
    text = " ".join(page.extract_text() for page in PdfReader(files.pdf).pages)
    return files, re.sub(r"\s+", " ", text.replace("\u200b", ""))


def readings(files: RecordFiles) -> list[dict[str, str]]:
    with files.csv.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_each_parameter_is_compared_as_found_and_as_left_in_its_own_state(log: RunLog) -> None:
    after_references(log)
    write_reversed_width(log)
    found: list[object] = [
        (line.parameter.name, line.when, line.value.value, line.difference.value)
        for line in compared(log)
    ]
    assert found == [
        ("course line IF", "as found", 1.213, pytest.approx(-0.299)),
        ("course line IF", "as left", 1.5031, pytest.approx(-0.0089)),
        ("course width", "as found", -0.1023, pytest.approx(-0.2576)),
        ("course width", "as left", 0.15493, pytest.approx(-0.00037)),
        ("course width, quadrature", "as found", 0.0312, pytest.approx(0.0315)),
        ("course width, quadrature", "as left", 0.00031, pytest.approx(0.00061)),
    ]


def test_the_uncertainty_is_that_of_two_independent_values(log: RunLog) -> None:
    """JCGM 100:2008, 5.1.2: the root of the sum of squares."""
    after_references(log)
    write_reversed_width(log)
    width = next(line for line in compared(log) if line.parameter.name == "course width")
    assert width.difference.u == pytest.approx(math.sqrt(width.value.u**2 + WIDTH.u**2))


def test_the_record_prints_reference_version_and_difference(log: RunLog) -> None:
    after_references(log)
    write_reversed_width(log)
    _, text = made(log)
    section = text[text.index("Differences from the reference values") :]
    for expected in (
        "version 1 was fixed 2027-01-15 08:00:00 UTC from run 1, signed by station engineer",
        "0.1549 ± 0.0012 150 Hz, 149.9 uA 0.1553 ± 0.0012 version 1 −0.0004 ± 0.0017 toward 90 Hz",
        "1.503 ± 0.024 V 1.512 ± 0.020 V version 1 −0.009 ± 0.031 V",
        "course width, quadrature as left",
    ):
        assert expected in section


def test_without_references_the_record_says_nothing_of_any(log: RunLog) -> None:
    write_reversed_width(log)
    files, text = made(log, 1)
    assert "reference" not in text.lower()
    assert tuple(readings(files)[0]) == COLUMNS


def test_what_was_fixed_after_the_run_is_not_on_its_record(log: RunLog) -> None:
    """A record that is made again says what it said: its reader may have the signed one."""
    write_reversed_width(log)
    before = write_record(log.path, 1, log.path.parent).csv.read_bytes()
    log.clock.sleep(1.0)
    write_references(log.writer, VALUES)
    files, text = made(log, 1)
    assert "Differences from the reference values" not in text
    assert files.csv.read_bytes() == before


def test_each_value_has_the_reference_of_its_own_moment(log: RunLog) -> None:
    """A run that was cut off can be gone on with after a new set was fixed."""
    after_references(log)
    log.start()
    log.measure("k/as found", "as found", log.measured(0.1540))
    write_references(log.writer, {"course width": QUADRATURE}, version=2)
    log.clock.sleep(1.0)
    log.measure("k/as left", "as left", log.measured(0.1550))
    assert [
        (line.when, line.standing.version, line.difference.reference) for line in compared(log)
    ] == [("as found", 1, WIDTH), ("as left", 2, QUADRATURE)]


def test_a_parameter_without_a_reference_has_no_line(log: RunLog) -> None:
    after_references(log)
    log.start()
    log.measure("k", "as found", log.measured(0.2101, point="clearance 150"))
    assert compared(log) == ()


@pytest.mark.parametrize("references", [True, False])
def test_an_unknown_run_is_told(log: RunLog, references: bool) -> None:
    if references:
        after_references(log)
    with pytest.raises(InputError, match="no run 9"):
        compared(log, 9)


# One by one ------------------------------------------------------------------------------------


def test_readings_are_compared_in_the_state_of_their_step(log: RunLog) -> None:
    after_references(log)
    log.start()
    for label, key in (("as found", "k/as found"), ("quadrature, round 1", "k/quadrature")):
        log.reading(key, 0.1549, u=0.0008)
        log.measure(key, label, log.measured(0.1549))
    log.reading("cut off", 0.1549)
    files, _ = made(log)
    normal, quadrature, cut_off = readings(files)
    assert tuple(normal) == (*COLUMNS, *COMPARED_COLUMNS)
    assert float(normal["difference"]) == pytest.approx(-0.0004)
    assert float(normal["difference_u"]) == pytest.approx(0.001)  # 6, 8, 10
    assert (float(normal["reference"]), normal["reference_version"]) == (WIDTH.value, "1")
    assert float(quadrature["reference"]) == QUADRATURE.value
    assert cut_off["reference"] == "", "nobody said in which state it was read"


def test_a_reading_without_a_value_differs_by_nothing(log: RunLog) -> None:
    after_references(log)
    log.start()
    log.reading("k", float("nan"), quality=Quality.NO_VALUE)
    log.reading("k", 0.9, quality=Quality.OVER)
    log.measure("k", "as found", log.measured(0.1549))
    files, _ = made(log)
    assert {row["reference"] + row["difference"] for row in readings(files)} == {""}


def test_an_uncertainty_that_nobody_stated_leaves_that_of_the_difference_open(log: RunLog) -> None:
    after_references(log)
    log.start()
    log.reading("k", 0.1549, u=float("nan"))
    log.measure("k", "as found", log.measured(0.1549))
    (row,) = readings(made(log)[0])
    assert float(row["difference"]) == pytest.approx(-0.0004)
    assert row["difference_u"] == ""


@pytest.mark.parametrize(("procedure", "reference"), [("watch", WIDTH), ("routine", None)])
def test_a_watch_reads_points_as_they_are(log: RunLog, procedure: str, reference: object) -> None:
    after_references(log)
    log.start(procedure=procedure)
    log.reading("watch", 0.1549)
    log.writer.close()
    with LogReader(log.path) as reader:
        versions = all_versions(reader)
        comparing = ReadingsCompared.of(reader, RUN)
        (row,) = reader.entries(run=RUN, kind=Kind.READING)
    less = comparing.difference(row)
    assert len(versions) == 1
    assert (None if less is None else less.reference) == reference
