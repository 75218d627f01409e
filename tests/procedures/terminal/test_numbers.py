"""A typed number in the unit that a prompt asks for."""

from __future__ import annotations

import pytest

from daq.errors import UnitError
from procedures.terminal.numbers import is_bare, suggested, typed_number


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("38.2 in", "m", 0.97028),  # 1 in = 25.4 mm exactly
        ("0.97 m", "m", 0.97),
        ("109.35 MHz", "Hz", 109.35e6),
        ("-1.6", "dB", -1.6),
        ("82 %", "1", 0.82),
        ("-43.5", "dBm", -43.5),
        ("7", "", 7.0),
        ("0.94", "m", 0.94),  # the prompt names the unit, so a bare number has it
        (" -1 ", "m", -1.0),
        ("1.5", "V", 1.5),
        ("12", "deg", 12.0),
    ],
)
def test_what_people_type_is_understood(text: str, unit: str, value: float):
    assert typed_number(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "said"),
    [
        ("38.2 MHz", "m", "length was expected"),
        ("1,5", "m", "decimal point, not a comma"),
        ("nan", "m", "length was expected"),
        ("about ten", "", "plain number"),
        ("nan", "dBm", "plain number in dBm"),
    ],
)
def test_what_is_no_such_number_is_refused_with_what_was_expected(text: str, unit: str, said: str):
    with pytest.raises(UnitError, match=said):
        typed_number(text, unit)


@pytest.mark.parametrize(
    ("text", "unit", "bare"),
    [("0.94", "m", True), ("0.94 m", "m", False), ("", "m", False), ("0.82", "1", False)],
)
def test_a_bare_number_is_one_whose_unit_had_to_be_taken_from_the_prompt(
    text: str, unit: str, bare: bool
):
    assert is_bare(text, unit) is bare


def test_a_suggestion_is_shown_as_it_would_be_said():
    assert suggested(0.97028, "m") == "0.970 m (38.2 in)"
    assert suggested(1.5, "V") == "1.5 V"
    assert suggested(0.84, "1") == "0.84"
