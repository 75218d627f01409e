"""A data sheet's line becomes a standard uncertainty."""

from __future__ import annotations

import math

import pytest
from pydantic import ValidationError

from drivers.accuracy import Accuracy, standard_uncertainty


def test_percent_digits_and_floor_add_up_before_the_divisor():
    line = Accuracy(percent=1.0, digits=2, resolution=0.01, floor=0.1, coverage="k=1")
    assert line.u(-5.0) == pytest.approx(0.05 + 0.02 + 0.1)


def test_limits_of_error_are_rectangular():
    """JCGM 100:2008 4.3.7: half width over the root of three."""
    assert Accuracy(floor=1.5, coverage="rectangular").u(0) == pytest.approx(1.5 / math.sqrt(3))


def test_limits_at_95_per_cent_are_two_standard_uncertainties():
    """Hand-worked from the NR-2's specification: 0.0010 + 1 per cent of 0.155, halved."""
    line = Accuracy(percent=1.0, floor=0.0010, coverage="k=2")
    assert line.u(-0.155) == pytest.approx(0.001275)


@pytest.mark.parametrize(("value", "floor"), [(0.5, 1), (-1.0, 1), (1.01, 2), (99.0, 3), (-1e6, 3)])
def test_the_first_line_that_covers_the_value_counts(value, floor):
    lines = [
        Accuracy(up_to=1, floor=1, coverage="k=1"),
        Accuracy(up_to=10, floor=2, coverage="k=1"),
        Accuracy(floor=3, coverage="k=1"),
    ]
    assert standard_uncertainty(lines, value) == floor


def test_no_value_has_no_uncertainty():
    assert math.isnan(standard_uncertainty([Accuracy(percent=1, coverage="k=2")], math.nan))


@pytest.mark.parametrize("bad", [{"percent": -1}, {"floor": math.inf}, {"up_to": 0}, {"flor": 1}])
def test_a_line_that_cannot_be_is_refused(bad):
    with pytest.raises(ValidationError):
        Accuracy.model_validate({"coverage": "k=2", **bad})
