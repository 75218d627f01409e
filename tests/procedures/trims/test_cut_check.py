"""Whether a cut did what it should have."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.trims.cable import CablePath
from procedures.trims.cut_check import check_cut
from procedures.trims.phase import FeedPath, PhaseEstimate

CABLE = CablePath(velocity_factor=0.82, u_velocity_factor=0.004)
CARRIER_HZ = 109.35e6
WAVE_M = 299_792_458.0 * 0.82 / CARRIER_HZ


def phase(phase_deg: float) -> PhaseEstimate:
    return PhaseEstimate(phase_deg, 0.5, abs(phase_deg) > 90.0, 0.155)


@given(
    st.floats(-179.0, 179.0),
    st.floats(0.0, 1.3),
    st.floats(0.0, 1.1),
    st.sampled_from(["sbo", "csb"]),
)
def test_the_length_really_cut_is_found_from_the_two_phases(
    before_deg: float, said_m: float, really_m: float, path: FeedPath
) -> None:
    """By complex phasors: shortening a path by L advances its signal by exp(2j pi L / wave)."""
    turn = 1.0 if path == "sbo" else -1.0
    vector = complex(
        math.cos(math.radians(before_deg)), math.sin(math.radians(before_deg))
    ) * complex(
        math.cos(turn * math.tau * really_m / WAVE_M), math.sin(turn * math.tau * really_m / WAVE_M)
    )
    after_deg = math.degrees(math.atan2(vector.imag, vector.real))
    check = check_cut(
        phase(before_deg), phase(after_deg),
        path=path, cut_m=said_m, cable=CABLE, frequency_hz=CARRIER_HZ,
    )  # fmt: skip
    turns = (check.as_if_m - really_m) / WAVE_M
    assert turns == pytest.approx(round(turns), abs=1e-6)
    assert abs(check.as_if_m - said_m) <= WAVE_M / 2 + 1e-9


@pytest.mark.parametrize(("off_deg", "agrees"), [(0.0, True), (2.4, True), (3.6, False)])
def test_they_agree_within_k_2_of_everything_that_is_not_known(
    off_deg: float, agrees: bool
) -> None:
    """By hand: 0.5 and 0.5 deg of the phases, 0.3 of 2 mm, 1.1 of 0.4 / 82 of 226 deg."""
    cut_deg = 226.0
    check = check_cut(
        phase(-120.0), phase(-120.0 + cut_deg + off_deg),
        path="sbo", cut_m=cut_deg / 360.0 * WAVE_M, cable=CABLE, frequency_hz=CARRIER_HZ,
    )  # fmt: skip
    assert check.u_deg == pytest.approx(math.hypot(0.5, 0.5, 0.32, 1.10), abs=0.02)
    assert check.agrees is agrees
