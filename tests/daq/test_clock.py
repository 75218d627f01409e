"""Time: order from the monotonic clock, the calendar from UTC, jumps noticed."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from daq.clock import JumpWatch, ManualClock, SystemClock, elapsed_s, iso_utc


def test_iso_utc_agrees_with_the_standard_library() -> None:
    moment = datetime(2026, 11, 25, 12, 55, 33, 120_000, tzinfo=UTC)
    assert iso_utc(round(moment.timestamp() * 1000) * 1_000_000) == "2026-11-25T12:55:33.120Z"


def test_sleeping_moves_both_clocks(clock: ManualClock) -> None:
    start = clock.monotonic_ns()
    clock.sleep(1.5)
    clock.sleep(-1)
    assert elapsed_s(clock, start) == pytest.approx(1.5)


@pytest.mark.parametrize("step_s", [3600.0, -5.0])
def test_a_calendar_clock_that_was_set_is_noticed_once(clock: ManualClock, step_s: float) -> None:
    watch = JumpWatch(clock)
    clock.sleep(100)
    assert watch.jump_s() is None
    clock.step_utc(step_s)
    assert watch.jump_s() == pytest.approx(step_s)
    assert watch.jump_s() is None


def test_the_system_clock_runs() -> None:
    clock = SystemClock()
    before = clock.monotonic_ns()
    clock.sleep(0.001)
    clock.sleep(-1.0)
    assert elapsed_s(clock, before) >= 0.001
    assert abs(clock.utc_ns() / 1e9 - datetime.now(UTC).timestamp()) < 5.0
