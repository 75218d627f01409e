"""Cables against hand-worked numbers and an independent library."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from sim_instruments.cable import Cable, line_of


def test_half_a_wavelength_at_110_1_mhz_is_45_inches():
    """0.84 x 299792458 / 110.1e6 / 2 = 1.1436 m = 45.0 in (common practice, no source)."""
    cable = Cable(45.0 * 0.0254, 0.84)
    assert cable.wavelength_m(110.1e6) / 2 / 0.0254 == pytest.approx(45.0, abs=0.05)
    assert math.degrees(cmath.phase(cable.gain(110.1e6))) % 360 == pytest.approx(180, abs=0.2)


@pytest.mark.parametrize(
    ("frequency_mhz", "velocity_factor", "inches"),
    [(108.10, 0.66, 18.02), (110.00, 0.85, 22.80), (111.95, 0.66, 17.40)],
)
def test_quarter_wave_in_inches(frequency_mhz, velocity_factor, inches):
    """360 L f / (c VF) with c = 11802.85 in x MHz; rows of the standards' cable phase table."""
    quarter = line_of(90, 0.3, velocity_factor, frequency_mhz * 1e6)
    assert quarter.length_m / 0.0254 == pytest.approx(inches, abs=0.006)
    gain = quarter.gain(frequency_mhz * 1e6)
    assert math.degrees(cmath.phase(gain)) == pytest.approx(-90)
    assert 20 * math.log10(abs(gain)) == pytest.approx(-0.3)


def test_cable_agrees_with_scikit_rf():
    """A matched line's S21 by scikit-rf: same angle and loss."""
    import skrf

    frequency = skrf.Frequency(109.35, 109.35, 1, unit="MHz")
    gamma = 0.07 / (20 * math.log10(math.e)) + 2j * math.pi * 109.35e6 / (0.82 * 299_792_458)
    medium = skrf.media.DefinedGammaZ0(frequency, gamma=gamma, z0=50)
    theirs = medium.line(18.3, "m").s[0, 1, 0]
    assert np.isclose(Cable(18.3, 0.82, 0.07).gain(109.35e6), theirs, rtol=1e-9)


def test_cut_longer_than_the_cable_is_refused():
    """A technician can only shorten, and not below nothing."""
    with pytest.raises(ValueError, match=r"cannot cut 1\.5000 m off a cable of 1\.0000 m"):
        Cable(1.0, 0.82).shortened(1.5)
    with pytest.raises(ValueError, match="cannot cut"):
        Cable(1.0, 0.82).shortened(-0.1)


def test_impossible_cables_are_refused():
    """Negative length and a velocity factor above one cannot be."""
    with pytest.raises(ValueError, match="cannot be"):
        Cable(-1.0, 0.82)
    with pytest.raises(ValueError, match="velocity factor"):
        Cable(1.0, 1.2)
