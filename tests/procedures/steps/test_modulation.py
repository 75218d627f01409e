"""What is made of an identification's text."""

from __future__ import annotations

import pytest

from procedures.steps.modulation import Ident, Mean


def ident(text: str, wpm: float | None = 10.0) -> Ident:
    return Ident(Mean(0.08, 0.001), Mean(1020.0, 0.1), text, wpm)


@pytest.mark.parametrize("text", ["ITN", "TN IT", "N ITN I", "ITN ITN"])
def test_a_record_may_begin_anywhere_in_the_code(text: str) -> None:
    assert ident(text).spells("ITN")


@pytest.mark.parametrize("text", ["ITS", "IT", "TI N", "ITN ITM", "", "?TN"])
def test_another_code_or_a_piece_of_it_is_not_the_station_s(text: str) -> None:
    assert not ident(text).spells("ITN")


def test_a_dot_is_a_fiftieth_of_a_word() -> None:
    """Seven words a minute by PARIS is a dot of 1.2 s / 7 = 0.171 s (ITU-R M.1677)."""
    assert ident("ITN", 7.0).dot_s == pytest.approx(0.1714, abs=1e-4)
    assert ident("", None).dot_s is None
