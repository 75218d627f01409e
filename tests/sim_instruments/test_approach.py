"""How a hand brings a reading to its target."""

from __future__ import annotations

import pytest

from sim_instruments.approach import Approach, Step


def test_approach_tries_before_it_aims():
    """Without noise: a small try away from the nearer stop, then past the target, then back."""
    approach, value, turns = Approach(1.0, 0.01, 0.9), 0.0, []
    for _ in range(100):
        step = approach.see(value)
        if step is Step.DONE:
            break
        if isinstance(step, float):
            turns.append(step)
            value -= 2 * step
    assert turns[0] == -0.02
    assert turns[1] < 0
    assert any(turn > 0 for turn in turns)
    assert value == pytest.approx(1.0, abs=0.0025)


def test_it_looks_longer_when_it_is_near():
    """Far off, two readings are enough to turn; in the band it takes seven before it is content."""
    far, near = Approach(1.0, 0.01, 0.5), Approach(1.0, 0.01, 0.5)
    assert [type(far.see(0.0)) for _ in range(2)] == [Step, float]
    assert [near.see(1.0) for _ in range(7)] == [Step.LOOK] * 6 + [Step.DONE]


def test_it_gives_up_where_nothing_answers():
    """Three tries, each three times as large, and then no more."""
    approach, turns = Approach(1.0, 0.01, 0.5), []
    for _ in range(50):
        step = approach.see(0.0)
        if step is Step.DONE:
            break
        if isinstance(step, float):
            turns.append(step)
    assert turns == pytest.approx([-0.02, -0.06, -0.18])
