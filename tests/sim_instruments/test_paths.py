"""Cables that can be cut and lengthened by a line."""

from __future__ import annotations

import cmath
import math

import pytest

from sim_instruments.parameters import PlantParameters
from sim_instruments.paths import build_paths, carrier_hz, quarter_wave_line


def test_sbo_that_leads_has_the_shorter_return_line():
    """36 degrees of 2.248 m: 0.225 m (109.355 MHz, velocity factor 0.82, by hand)."""
    paths = build_paths(PlantParameters(phase_error_deg=36.0))
    shorter_m = paths["csb", "monitor"].cable.length_m - paths["sbo", "monitor"].cable.length_m
    assert shorter_m == pytest.approx(0.2248, abs=1e-4)
    assert paths["sbo", "transmitter"] == paths["csb", "transmitter"]


def test_line_in_series_adds_its_delay_and_loss():
    """Minus 91 degrees and 0.4 dB on top of the cable's own."""
    given = PlantParameters(line_angle_error_deg=1.0, line_loss_error_db=0.05)
    path = build_paths(given)["sbo", "transmitter"]
    alone = path.gain(carrier_hz(given))
    path.line = quarter_wave_line(given)
    ratio = path.gain(carrier_hz(given)) / alone
    assert math.degrees(cmath.phase(ratio)) == pytest.approx(-91.0)
    assert 20 * math.log10(abs(ratio)) == pytest.approx(-0.4)
