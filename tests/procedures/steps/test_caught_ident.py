"""What is made of an identification's text, and how it is caught."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.station_equipment import IdentCheck
from procedures.steps.caught_ident import Ident, catch_identification
from procedures.steps.detector_records import Mean
from tests.support.steps import stage

KEYED = {"ident_suppressed": 0}


def ident(text: str, dot_s: float | None = 0.12) -> Ident:
    return Ident(Mean(0.08, 0.001), Mean(1020.0, 0.1), text, dot_s)


@pytest.mark.parametrize("text", ["ITN", "TN IT", "N ITN I", "ITN ITN"])
def test_a_record_may_begin_anywhere_in_the_code(text: str) -> None:
    assert ident(text).spells("ITN")


@pytest.mark.parametrize("text", ["ITS", "IT", "TI N", "ITN ITM", "", "?TN"])
def test_another_code_or_a_piece_of_it_is_not_the_station_s(text: str) -> None:
    assert not ident(text).spells("ITN")


@pytest.mark.parametrize(("text", "enough"), [("", False), ("T N", False), ("TN I", True)])
def test_fewer_letters_than_the_code_has_tell_nothing(text: str, enough: bool) -> None:
    assert ident(text).long_enough_for("ITN") is enough


def test_a_word_is_fifty_dots() -> None:
    """Seven words a minute by PARIS is a dot of 1.2 s / 7 = 0.171 s (ITU-R M.1677)."""
    assert ident("ITN", 1.2 / 7.0).words_per_minute == pytest.approx(7.0)
    assert ident("", None).words_per_minute is None


def test_long_records_one_after_the_other_show_depth_code_speed_and_repetition(
    tmp_path: Path,
) -> None:
    with stage(tmp_path, plant=KEYED) as on:
        found = catch_identification(
            on.bench, "caught", IdentCheck(point="identification", records=3)
        )
    assert found.depth is not None
    assert found.depth.value == pytest.approx(0.08, abs=0.001)
    assert found.spells("ITN")
    assert found.dot_s == pytest.approx(0.12, abs=0.003)
    assert found.per_minute is not None
    assert found.per_minute.value == pytest.approx(10.0, abs=3.0 * found.per_minute.u)
    assert found.unequal is not None
    assert found.unequal.value < 0.01
    assert len(found.intervals_s) >= 2


def test_short_records_without_a_pause_between_them_show_as_much(tmp_path: Path) -> None:
    """Forty of half a second at the ordinary profile; each alone holds half a letter."""
    table = IdentCheck(point="course CSB detector", records=40)
    with stage(tmp_path, plant=KEYED) as on:
        found = catch_identification(on.bench, "caught", table)
    assert found.spells("ITN")
    assert found.per_minute is not None
    assert found.per_minute.value == pytest.approx(10.0, abs=3.0 * found.per_minute.u)


def test_a_transmitter_that_keys_none_has_none(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"ident_suppressed": 1}) as on:
        found = catch_identification(
            on.bench, "caught", IdentCheck(point="identification", records=2)
        )
    assert found == Ident(None, None)
