"""Readings at a point: settled, averaged, and on the disk before anybody has them."""

from __future__ import annotations

from itertools import repeat

import numpy as np
import pytest

from daq.log.entry import Kind
from daq.reading import Quality
from procedures.engine.point_reader import PATIENCE
from tests.procedures.engine.desk import Desk, noisy


def test_measure_waits_until_the_value_has_settled(desk: Desk) -> None:
    """A filter that still moves is waited for; its readings are logged and not averaged."""
    moving = [0.155 + 0.05 * 0.8**n for n in range(60)]
    desk.answers(*moving)
    measured = desk.bench.measure("k", "course width", label="x")
    readings = len(desk.rows(Kind.READING))
    assert measured.steady
    assert 15 < readings < PATIENCE
    assert measured.value == pytest.approx(np.mean(moving[readings - 8 : readings]))
    assert desk.who.told == []


def test_measure_says_when_the_value_did_not_settle(desk: Desk) -> None:
    desk.answers(then=(0.1 + 0.01 * n for n in range(1000)))
    measured = desk.bench.measure("k", "course width", label="x")
    assert not measured.steady
    assert len(desk.rows(Kind.READING)) == PATIENCE
    assert measured.n == 8
    assert "did not settle within 48 readings" in desk.who.told[-1]


def test_the_uncertainty_is_that_of_the_scatter_and_the_instrument(desk: Desk) -> None:
    """JCGM 100:2008, 4.2.3 and 5.1.2: s/sqrt(n), and 0.001 of the instrument."""
    desk.answers(then=noisy(0.155, 0.0002))
    measured = desk.bench.measure("k", "course width", label="x")
    values = [float(str(row.body["value"])) for row in desk.rows(Kind.READING)][-8:]
    scatter = np.std(values, ddof=1) / np.sqrt(8)
    assert measured.u == pytest.approx(np.hypot(scatter, 0.001))


def test_a_reading_without_a_value_is_logged_and_not_averaged(desk: Desk) -> None:
    desk.answers(0.9, Quality.OVER, then=repeat(0.155))
    measured = desk.bench.measure("k", "course width", label="x")
    assert measured.value == pytest.approx(0.155)
    qualities = [row.body["quality"] for row in desk.rows(Kind.READING)]
    assert qualities[:3] == ["ok", "over range", "ok"]
    assert desk.rows(Kind.READING)[1].body["value"] is None


def test_readings_without_any_value_are_a_gap_that_names_the_answer(desk: Desk) -> None:
    desk.answers(*repeat(Quality.NO_VALUE, PATIENCE), then=repeat(0.155))
    measured = desk.bench.measure("k", "course width", label="x")
    assert measured.value == pytest.approx(0.155)
    question = desk.who.asked[-1]
    assert question.key == "k/retry 1"
    assert "no value (it answered '----')" in question.text


@pytest.mark.parametrize(
    ("seconds", "what"),
    [
        (-3600.0, "the calendar clock was set back"),
        (7200.0, "the computer slept, or its calendar clock was set"),
    ],
)
def test_a_calendar_clock_that_is_set_is_logged_once(seconds: float, what: str, desk: Desk) -> None:
    """A computer that sleeps does the same: clock_gettime(2), CLOCK_MONOTONIC."""
    desk.bench.measure("before", "course width", label="x")
    desk.clock.step_utc(seconds)
    desk.bench.measure("after", "course width", label="x")
    (event,) = desk.events()
    assert event == {"event": what, "seconds": seconds}
    order = [row.mono_ns for row in desk.rows(Kind.READING)]
    assert order == sorted(order)
