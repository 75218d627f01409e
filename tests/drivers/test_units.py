"""Each unit of an answer has its factor to SI."""

from __future__ import annotations

import typing

import pytest

from daq.reading import QUANTITIES
from drivers.units import AnswerUnit, si_scale, suffix_of


def test_150_microamperes_are_0_155_ddm():
    """Common practice, no source."""
    factor, unit = si_scale("uA")
    assert 150 * factor == pytest.approx(0.155)
    assert unit == "1"


@pytest.mark.parametrize("unit", typing.get_args(AnswerUnit))
def test_every_unit_leads_to_the_si_unit_of_some_quantity(unit):
    factor, si_unit = si_scale(unit)
    assert factor > 0
    assert si_unit in QUANTITIES.values()
    assert suffix_of(unit) == ("" if unit == "ratio" else unit)
