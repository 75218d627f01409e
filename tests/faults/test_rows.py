"""The table of failures names tests that are there, and every row and fault is in it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import pytest

from sim_instruments.faults import MENU

TESTS: Final = Path(__file__).parents[1]
TEXT: Final = Path(__file__).with_name("ROWS.md").read_text(encoding="utf-8")
NAMED: Final = sorted(set(re.findall(r"`([\w/]+\.py)::(\w+)`", TEXT)))


def test_every_row_is_answered():
    numbers = [int(number) for number in re.findall(r"^\| (\d+) \|", TEXT, re.MULTILINE)]
    assert numbers == list(range(1, 59))


@pytest.mark.parametrize(("path", "name"), NAMED)
def test_a_named_test_is_there(path, name):
    assert f"def {name}(" in (TESTS / path).read_text(encoding="utf-8")


def test_the_faults_that_are_named_are_on_the_menu():
    named = set(re.findall(r'matrix "([^"…]+)"', TEXT))
    assert named <= set(MENU)
    assert len(named) > 8
