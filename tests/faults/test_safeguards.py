"""Faults that no single answer shows: which safeguard has them, and that it has.

A wrong sign is found by the sense check, an old value without a stamp by a second instrument on the
same signal: both in tests/procedures/steps, test_sense_check.py and test_comparison.py.
"""

from __future__ import annotations

import pytest

from daq.log.entry import Kind
from sim_instruments.value_faults import (
    ErrorInQueue,
    FrozenValue,
    NoiseBurst,
    StaleValue,
    WrongUnit,
)
from tests.faults.matrix import FROZEN_LIMIT
from tests.faults.stand import LINKS, stand


@pytest.mark.parametrize("age", [1, 5])
def test_an_older_answer_is_marked_and_not_averaged_where_the_instrument_sends_a_stamp(
    tmp_path, age
):
    with stand("socket", tmp_path, stamped=True) as made:
        made.as_found("first")
        made.panel.arm(StaleValue(age), after=3, matching="MEAS")
        measured = made.as_found("second")
        rows = made.rows(Kind.READING)
        assert [row.body["quality"] for row in rows].count("stale") == 1
        assert made.wrong() == []
        values = [float(str(row.body["value"])) for row in rows if made.good(row)]
        assert measured.value == pytest.approx(sum(values[-8:]) / 8)


def test_a_frozen_value_is_refused_before_it_could_be_averaged(tmp_path):
    """Eight equal readings would be the steadiest there are; at most three pass for good."""
    assert FROZEN_LIMIT < 8
    with stand("socket", tmp_path) as made:
        made.as_found("first")
        made.panel.arm(FrozenValue(), count=0, matching="MEAS")
        made.as_found("second")
        (gap,) = made.events("gap")
        assert "frozen" in str(gap["error"])
        assert len(made.wrong()) == FROZEN_LIMIT - 2
        assert "frozen" in made.technician.questions[0][0]


def test_one_noisy_reading_keeps_a_value_from_counting_as_settled(tmp_path):
    with stand("socket", tmp_path) as made:
        made.panel.arm(NoiseBurst(0.05), after=3, matching="MEAS")
        measured = made.as_found()
        (noisy,) = made.wrong()
        good = [row for row in made.rows(Kind.READING) if made.good(row)]
        assert noisy not in good[-8:]
        assert measured.n == 8
        assert measured.steady


def test_a_unit_that_was_changed_shows_impossible_values_and_ends_in_a_question(tmp_path):
    """DDM in per cent or microamperes where a ratio is expected is far beyond 0.4."""
    with stand("socket", tmp_path) as made:
        made.panel.arm(WrongUnit(100.0), count=0, matching="MEAS")
        made.as_found()
        assert {row.body["quality"] for row in made.rows(Kind.READING)} == {"ok", "impossible"}
        assert made.wrong() == []
        assert "impossible" in made.technician.questions[0][0]


@pytest.mark.parametrize("link", LINKS)
def test_an_error_that_only_the_queue_knows_is_found_by_reading_the_queue(link, tmp_path):
    with stand(link, tmp_path) as made:
        made.panel.arm(ErrorInQueue(-221), matching="MEAS")
        made.as_found()
        assert [found.code for found in made.instrument.queued_errors()] == [-221]
        assert made.instrument.queued_errors() == ()
        assert made.wrong() == []
