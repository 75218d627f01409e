"""The machine's clocks."""

from __future__ import annotations

from sim_instruments.clock import SystemClock


def test_sleep_takes_its_time_and_zero_takes_none():
    """Two milliseconds pass on both clocks; a negative wait returns at once."""
    clock = SystemClock()
    mono_ns, utc_ns = clock.monotonic_ns(), clock.utc_ns()
    clock.sleep(0.002)
    clock.sleep(-1)
    assert 2_000_000 <= clock.monotonic_ns() - mono_ns < 1_000_000_000
    assert clock.utc_ns() > utc_ns
