"""A pattern made from an answer fits it, and others of its form."""

from __future__ import annotations

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from daq.errors import InputError
from drivers.profile_pattern import literal, pattern_for

printable = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=20)


@given(printable)
def test_a_literal_is_that_text_and_no_other(text):
    assert re.fullmatch(literal(text), text)
    assert not re.fullmatch(literal(text), text + "x")


@given(printable, printable, printable, st.from_regex(r"[+-]?\d+\.\d+", fullmatch=True))
def test_the_value_is_found_at_its_place_whatever_stands_around_it(before, value, after, other):
    assume(value and " " not in value and value not in before + after)
    answer = f"{before}|{value}|{after}"
    pattern = pattern_for(answer, [(value, "value", r"\S+?")])
    for number in (value, other):
        found = re.fullmatch(pattern, f"{before}|{number}|{after}")
        assert found is not None
        if "|" not in before + number + after:
            assert found["value"] == number


def test_of_equal_parts_the_first_free_place_is_taken():
    parts = [("40", "value", r"\d+"), ("40", "", r"\d+"), ("OK", "status", r"\w+")]
    pattern = pattern_for("40 of 40-OK", parts)
    assert pattern == r"(?P<value>\d+) of \d+-(?P<status>\w+)"


def test_one_place_cannot_be_two_things():
    with pytest.raises(InputError, match=r"'8\.7' cannot mean two things in 'DEV 98\.7'"):
        pattern_for("DEV 98.7", [("98.7", "value", r"\S+"), ("8.7", "status", r"\S+")])
