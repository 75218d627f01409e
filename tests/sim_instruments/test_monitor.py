"""Channels and controls of the monitor."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.monitor import IF_POINTS, build_controls, if_volts_per_unit
from sim_instruments.parameters import PlantParameters


def test_unmodulated_peak_is_scaled_by_the_envelopes_highest_point():
    """CSB alone: two tones of 0.2 stay below 1.4; s90 + s150 peaks at 1.857 on a fine grid."""
    assert if_volts_per_unit(0.0) == pytest.approx(1.5 / 2 / (1 + 0.2 * 1.857), rel=1e-4)


def test_levels_start_off_in_both_directions_over_many_plants():
    """As found 15 to 35 per cent off, up and down about equally often."""
    found = [
        abs(build_controls(PlantParameters(), np.random.default_rng(seed))[f"{point} level"].gain)
        for seed in range(50)
        for point in IF_POINTS
    ]
    assert min(found) == pytest.approx(0.65, abs=0.01)
    assert max(found) == pytest.approx(1.35, abs=0.01)
    assert all(abs(level - 1) >= 0.149 for level in found)
    assert 0.35 < np.mean([level > 1 for level in found]) < 0.65


def test_levels_are_in_order_where_the_table_says_so():
    """A station between two visits: all in the middle."""
    controls = build_controls(PlantParameters(if_level_spread=0.0), np.random.default_rng(1))
    assert {control.position for control in controls.values()} == {0.5}
