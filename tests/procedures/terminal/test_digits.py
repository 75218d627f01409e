"""Large digits."""

from __future__ import annotations

from itertools import combinations

from procedures.terminal.digits import large


def test_a_number_is_three_lines_of_equal_length():
    lines = large("-155.0")
    assert lines is not None
    assert len({len(line) for line in lines}) == 1


def test_no_two_digits_look_alike():
    for one, other in combinations("0123456789", 2):
        assert large(one) != large(other)


def test_what_has_no_large_form_is_said_so():
    assert large("1.2e+9") is None
    assert large("") is None
