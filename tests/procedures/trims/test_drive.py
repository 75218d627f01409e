"""Where a driven receiver was: interpolation, gaps, passes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.drive import Drive, Track, passes, require_overlap, whole_days_apart
from tests.procedures.trims.driven import Made

TIMES = np.array([0.0, 1.0, 2.0, 6.0, 7.0])
TRACK = Track(TIMES, np.full(5, 3120.0), np.array([0.0, 10.0, 20.0, 60.0, 70.0]), 2.0)


def test_between_two_fixes_the_way_is_straight() -> None:
    along, lateral = TRACK.at(np.array([0.25, 1.0, 6.5]))
    assert along.tolist() == [3120.0] * 3
    assert lateral == pytest.approx([2.5, 10.0, 65.0])


def test_in_a_gap_and_outside_nothing_is_known() -> None:
    _, lateral = TRACK.at(np.array([-0.1, 2.1, 4.0, 5.9, 7.1]))
    assert np.all(np.isnan(lateral))


def test_one_fix_is_no_track() -> None:
    alone = Track(TIMES[:1], TIMES[:1], TIMES[:1], 2.0)
    assert np.all(np.isnan(alone.at(np.array([0.0]))[1]))


def test_a_late_value_belongs_to_where_the_receiver_was() -> None:
    drive = Made(late_s=0.5).drive()
    inside = slice(10, 150)
    there = drive.placed(0.5)
    assert there.speed_m_s[inside] == pytest.approx(6.0)
    slope = (drive.ddm / (there.lateral_m - 2.0))[inside]
    assert slope == pytest.approx(0.00145)


def test_there_and_back_are_two_passes() -> None:
    drive = Made().drive()
    first, second = passes(drive.placed(0.0).azimuth_deg)
    assert first.stop == pytest.approx(second.start, abs=2)
    assert (first.start, second.stop) == (0, pytest.approx(len(drive.ddm), abs=2))


def test_a_wandering_position_is_no_other_pass() -> None:
    x = np.linspace(-100.0, 100.0, 400) + 3.0 * np.random.default_rng(3).standard_normal(400)
    assert len(passes(x)) == 1
    assert passes(np.array([1.0, np.nan, 1.0])) == []
    assert passes(np.array([np.nan])) == []


@given(st.lists(st.floats(-1e3, 1e3) | st.just(float("nan")), max_size=40))
def test_passes_do_not_overlap_and_stay_inside(x: list[float]) -> None:
    found = passes(np.array(x))
    for before, after in pairwise(found):
        assert before.stop - 1 <= after.start
    assert all(0 <= each.start < each.stop <= len(x) for each in found)


def test_a_log_of_another_time_is_refused() -> None:
    drive = Made().drive()
    elsewhere = Drive(drive.rows, drive.time_s + 1e5, drive.ddm, drive.track)
    with pytest.raises(InputError, match=r"log runs from 100000\.0 to .* the positions from -3\.0"):
        require_overlap(elsewhere, "a.csv")


def test_times_of_day_are_brought_to_the_same_day() -> None:
    day_s = 86_400.0
    assert whole_days_apart(np.array([20_000 * day_s + 50.0]), np.array([60.0])) == 20_000 * day_s
    assert whole_days_apart(np.array([10.0]), np.array([day_s - 10.0])) == -day_s
