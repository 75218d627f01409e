"""The machine's clocks."""

from __future__ import annotations

import time

import pytest

from sim_instruments.clock import ScaledClock, SystemClock


def test_sleep_takes_its_time_and_zero_takes_none():
    """Two milliseconds pass on both clocks; a negative wait returns at once."""
    clock = SystemClock()
    mono_ns, utc_ns = clock.monotonic_ns(), clock.utc_ns()
    clock.sleep(0.002)
    clock.sleep(-1)
    assert 2_000_000 <= clock.monotonic_ns() - mono_ns < 1_000_000_000
    assert clock.utc_ns() > utc_ns


def test_a_scaled_clock_runs_as_many_times_as_fast():
    """Two seconds of plant time at 1000 times: 2 ms, and both clocks move together."""
    clock = ScaledClock(1000.0)
    real, mono, utc = time.perf_counter(), clock.monotonic_ns(), clock.utc_ns()
    clock.sleep(2.0)
    assert time.perf_counter() - real < 1.0
    assert clock.monotonic_ns() - mono >= 2_000_000_000
    assert clock.utc_ns() - utc >= 2_000_000_000
    clock.sleep(-1.0)


@pytest.mark.parametrize("speed", [0.0, -2.0, float("nan")])
def test_a_clock_does_not_stand_or_run_backwards(speed):
    with pytest.raises(ValueError, match="times real time"):
        ScaledClock(speed)
