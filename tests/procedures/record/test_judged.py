"""What the first page says of its verdicts."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from daq.log.reader import LogReader
from procedures.record.collect import collect
from procedures.record.judged import found_reversed, how_judged, is_unproven
from procedures.record.make import write_record
from procedures.record.model import Record
from tests.procedures.record.run_log import RunLog


def record_of(log: RunLog) -> Record:
    log.writer.close()
    with LogReader(log.path) as reader:
        return collect(reader, 1)


def write_width(log: RunLog, *, found: float, u: float, sign: float = 1.0) -> None:
    """Write a width that was found somewhere and set to 0.1555, with that uncertainty."""
    log.start()
    log.measure("r/normal", "normal, round 1", log.measured(sign * found, u=u))
    left = log.measured(sign * 0.1555, u=u)
    log.measure("r/width", "width", left)
    low, high = sorted((sign * 0.154, sign * 0.156))
    log.judge("r/width/verdict", "course width, width", left, low=low, high=high)
    log.end()


def test_a_setting_whose_uncertainty_exceeds_its_band_is_said_to_be_one(log: RunLog) -> None:
    """0.1555 ± 0.0026 lies in 0.154 to 0.156 as read, and is not proven to."""
    write_width(log, found=0.14, u=0.0013)
    words = how_judged(record_of(log))
    assert words.startswith("1 of 1 judged lines below end in tolerance.")
    assert "All are settings, judged by the reading itself (simple acceptance)." in words
    assert "In 1 of these the expanded uncertainty exceeds the band" in words


def test_settings_and_limits_are_told_apart(log: RunLog) -> None:
    """`RunLog` judges by the simple rule; the other verdict is by the station's."""
    write_width(log, found=0.14, u=0.0002)
    record = record_of(log)
    (line,) = record.summary
    assert line.left is not None
    (verdict,) = line.left.verdicts
    other = replace(line.left, verdicts=(replace(verdict, rule="guarded"),))
    both = replace(record, summary=(line, replace(line, left=other)))
    assert how_judged(both) == (
        "2 of 2 judged lines below end in tolerance. 1 of them is a setting, judged by the reading "
        "itself (simple acceptance), the others by the station's rule (guarded)."
    )


def test_what_is_out_of_its_band_is_not_said_to_lie_in_it(log: RunLog) -> None:
    log.start()
    reading = log.measured(-0.0960, u=0.001)
    log.measure("r/quadrature", "quadrature", reading)
    log.judge("r/v", "q", reading, low=-0.001, high=0.001, verdict="out of tolerance")
    assert "exceeds the band" not in how_judged(record_of(log))


def test_the_phase_that_was_computed_tells_the_sense_before_anything_is_judged(
    log: RunLog,
) -> None:
    """A run that was refused at the cut has judged no width, and its record says reversed."""
    log.start()
    log.measure("p/round 1/normal", "normal, round 1", log.measured(-0.0902))
    log.measure("p/round 1/quadrature", "quadrature, round 1", log.measured(-0.044))
    log.note("p/round 1/phase", "Phase of SBO against CSB", {"reversed": True})
    assert how_judged(record_of(log)) == "'course width' was found with its sense reversed."


@pytest.mark.parametrize(("u", "unproven"), [(0.0004, False), (0.0005, False), (0.0006, True)])
def test_the_band_is_exceeded_by_more_than_its_half(u: float, unproven: bool, log: RunLog) -> None:
    """Half of 0.154 to 0.156 is 0.001, and k = 2."""
    write_width(log, found=0.14, u=u)
    verdict = record_of(log).verdicts[0]
    assert is_unproven(verdict) is unproven


@pytest.mark.parametrize(
    ("found", "u", "is_reversed"),
    [(-0.0902, 0.0013, True), (0.0902, 0.0013, False), (-0.0020, 0.0013, False)],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_wrong_tone_as_found_is_a_reversed_sense_beyond_its_uncertainty(
    found: float, u: float, is_reversed: bool, sign: float, log: RunLog
) -> None:
    write_width(log, found=found, u=u, sign=sign)
    record = record_of(log)
    (line,) = record.summary
    assert found_reversed(line, record.notes) is is_reversed
    assert ("'course width' was found with its sense reversed." in how_judged(record)) is (
        is_reversed
    )


def test_a_null_has_no_sense_to_be_reversed(log: RunLog) -> None:
    log.start()
    found = log.measured(-0.0902)
    log.measure("r/quadrature", "quadrature, round 1", found)
    log.judge("r/v", "course width, quadrature", found, low=-0.001, high=0.001, verdict="out")
    record = record_of(log)
    (line,) = record.summary
    assert not found_reversed(line, record.notes)


def test_nothing_judged_needs_no_words(log: RunLog) -> None:
    log.start()
    log.measure("r/normal", "normal, round 1", log.measured(0.09))
    assert how_judged(record_of(log)) == ""


def test_all_of_it_is_on_the_first_page_and_the_rules_at_the_end(log: RunLog) -> None:
    write_width(log, found=-0.0902, u=0.0013)
    log.writer.close()
    pages = PdfReader(write_record(log.path, 1, log.path.parent).pdf).pages
    first = re.sub(r"\s+", " ", pages[0].extract_text())
    for expected in (
        "judged by the reading itself (simple acceptance)",
        "uncertainty exceeds the band",
        "not judged SENSE REVERSED",
        "found with its sense reversed",
    ):
        assert expected in first
    whole = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))
    assert "guarded for limits of the facility, which is the station's rule; simple for" in whole
