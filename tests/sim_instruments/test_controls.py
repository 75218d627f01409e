"""Controls and the hand on them."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.controls import Control, ControlLaw, HandError

PERFECT = HandError(0, 0, 0)


def test_law_is_neutral_in_the_middle_and_spans_its_range():
    """6 dB and 40 degrees from stop to stop."""
    law = ControlLaw(level_db=6.0, phase_deg=40.0)
    assert law.gain(0.5) == pytest.approx(1)
    assert abs(law.gain(1) / law.gain(0)) == pytest.approx(10 ** (6 / 20))
    assert np.degrees(np.angle(law.gain(1) / law.gain(0))) == pytest.approx(40)


def test_backlash_is_lost_once_when_the_direction_changes():
    """The first turn back falls short by the slack, the next one does not."""
    control, rng = Control(ControlLaw(1.0)), np.random.default_rng(1)
    hand = HandError(backlash=0.01, relative=0, absolute=0)
    assert control.turn(0.1, hand, rng).position == pytest.approx(0.60)
    assert control.turn(-0.1, hand, rng).position == pytest.approx(0.51)
    assert control.turn(-0.1, hand, rng).position == pytest.approx(0.41)
    assert control.turn(0.005, hand, rng).position == pytest.approx(0.41)


def test_restore_brings_back_the_position_before_the_first_turn():
    """After restoring, the next first turn sets a new mark, wherever that is."""
    control, rng = Control(ControlLaw(1.0), position=0.3), np.random.default_rng(1)
    control.turn(0.2, PERFECT, rng)
    control.turn(0.1, PERFECT, rng)
    assert control.restore(PERFECT, rng).position == pytest.approx(0.3)
    assert control.restore(PERFECT, rng).position == pytest.approx(0.3)
    control.position = 0.7
    control.turn(0.1, PERFECT, rng)
    assert control.restore(PERFECT, rng).position == pytest.approx(0.7)


def test_a_hand_misses_a_little():
    """Turns of 0.1 scatter by 2 per cent of themselves."""
    rng = np.random.default_rng(5)
    ends = [Control(ControlLaw(1.0)).turn(0.1, HandError(), rng).position for _ in range(300)]
    assert np.std(ends) == pytest.approx(0.00205, rel=0.2)
