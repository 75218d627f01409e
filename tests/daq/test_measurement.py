"""Averages carry the uncertainty that JCGM 100 gives them."""

from __future__ import annotations

import math

import pytest

from daq.errors import AnswerError
from daq.measurement import Measurement, combine
from daq.reading import Quality, Reading


def reading(value: float, u: float = 0.0, quality: Quality = Quality.OK) -> Reading:
    return Reading("vpp", value, u, "scope", "IF", 0, 0, quality=quality, raw=str(value))


def test_type_a_of_the_guides_temperature_example() -> None:
    """JCGM 100:2008, 4.4.3, table 1: 20 observations, mean 100.145, s/sqrt(n) = 0.333 (from
    memory)."""
    values = (
        "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 100.33 100.42 100.68 100.95 "
        "101.11 101.20 101.57 101.84 102.36 102.72"
    )
    mean = combine([reading(float(v)) for v in values.split()], steady=True)
    assert mean.value == pytest.approx(100.145, abs=0.0005)
    assert mean.u_scatter == pytest.approx(0.333, abs=0.0005)


def test_the_instruments_part_does_not_shrink_with_the_number_of_readings() -> None:
    mean = combine([reading(1.0, u=0.02)] * 100, steady=True)
    assert mean.u == pytest.approx(0.02)


def test_readings_that_may_not_be_judged_are_left_out() -> None:
    mean = combine([reading(1.0), reading(9.0, quality=Quality.STALE), reading(2.0)], steady=True)
    assert (mean.value, mean.n) == (1.5, 2)


def test_nothing_usable_is_an_error_with_its_reason() -> None:
    with pytest.raises(AnswerError, match=r"over range .*'inf'"):
        combine([reading(math.inf, quality=Quality.OVER)], steady=False)


def test_a_measurement_survives_the_journal() -> None:
    mean = combine([reading(0.1 + 0.2, u=1e-17), reading(1 / 3)], steady=False)
    assert Measurement.from_body(mean.to_body()) == mean
