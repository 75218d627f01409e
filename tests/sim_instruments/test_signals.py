"""Waveforms of the transmitters."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.signals import Modulation, Timebase


def test_spectrum_of_csb():
    """Each sideband of CSB is m C / 2 (-20 dB at m = 0.2), SBO adds S/2: standards, F2 and F3."""
    lines = np.fft.fft(Modulation().carrier(Timebase(0.0, 4800.0, 480), 1.0, 0.05)) / 480
    upper = {hz: abs(lines[hz // 10]) for hz in (0, 90, 150)}
    assert upper[0] == pytest.approx(1.0)
    assert upper[150] == pytest.approx(0.1 + 0.025)
    assert upper[90] == pytest.approx(0.1 - 0.025)
    assert abs(lines[-9]) == pytest.approx(upper[90])


def test_ident_is_a_tone_of_1020_hz():
    """The ident's line stands at 1020 Hz with half its depth."""
    lines = np.fft.fft(Modulation(ident_depth=0.1).carrier(Timebase(0, 4800.0, 480), 1, 0)) / 480
    assert abs(lines[102]) == pytest.approx(0.05)


@pytest.mark.parametrize("n", [480, 30_000])
def test_two_looks_at_the_same_moment_agree(n):
    """A record that starts later continues the earlier one, kept in memory or not."""
    early, late = Timebase(3.0, 48_000.0, n), Timebase(3.0 + 100 / 48_000, 48_000.0, n)
    assert np.allclose(early.rotor(4750)[100:], late.rotor(4750)[:-100], atol=1e-8)
    assert np.allclose(early.sine(90, 0.3)[100:], late.sine(90, 0.3)[:-100], atol=1e-8)
