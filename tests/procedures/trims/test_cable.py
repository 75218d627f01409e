"""Cable lengths and the cuts that mend a phase."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.cable import (
    CablePath,
    Cut,
    half_wave_m,
    length_for_phase_m,
    phase_for_length_deg,
    plan_cuts,
    wavelength_m,
    wrap_deg,
)
from procedures.trims.phase import PhaseEstimate

CARRIER_HZ = 109.35e6
CABLE = CablePath(0.82)


def estimate(phase_deg: float, u_deg: float = 0.0) -> PhaseEstimate:
    return PhaseEstimate(phase_deg, u_deg, abs(phase_deg) > 90.0, 0.155)


def phase_after(cut: Cut, phase_deg: float, factor: float) -> float:
    """Return the phase once `cut` is made, by the delay in seconds of what was taken off."""
    seconds = cut.length_m / (factor * 299_792_458.0)
    turn = 360.0 * CARRIER_HZ * seconds
    return math.remainder(phase_deg + (turn if cut.path == "sbo" else -turn), 360.0)


@given(st.floats(-179.999, 180.0), st.floats(0.5, 1.0))
def test_an_exact_cut_zeroes_the_phase(phase_deg: float, factor: float) -> None:
    path = CablePath(factor)
    for cut in plan_cuts(estimate(phase_deg), frequency_hz=CARRIER_HZ, sbo=path, csb=path):
        assert abs(phase_after(cut, phase_deg, factor)) < 1e-6
        assert abs(cut.phase_left_deg) < 1e-6


@given(st.floats(-179.999, 180.0), st.floats(0.0, 0.05), st.floats(0.0, 3.0))
def test_what_a_rough_cut_leaves_is_what_is_there_after_it(
    phase_deg: float, allowance_m: float, u_deg: float
) -> None:
    """`phase_left_deg` is the truth after the cut; the cut never goes beyond the exact length."""
    plan = plan_cuts(
        estimate(phase_deg, u_deg),
        frequency_hz=CARRIER_HZ,
        sbo=CABLE,
        csb=CABLE,
        allowance_m=allowance_m,
    )
    assert {cut.path for cut in plan} == {"sbo", "csb"}
    assert plan[0].length_m <= plan[1].length_m
    for cut in plan:
        assert 0.0 <= cut.length_m <= cut.exact_m < wavelength_m(CARRIER_HZ, 0.82) + 1e-9
        left = phase_after(cut, phase_deg, 0.82)
        assert abs(math.remainder(left - cut.phase_left_deg, 360.0)) < 1e-6


def test_a_lead_is_mended_in_csb_and_a_lag_in_sbo() -> None:
    lead = plan_cuts(estimate(40.0), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE)
    lag = plan_cuts(estimate(-40.0), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE)
    assert [cut.path for cut in lead] == ["csb", "sbo"]
    assert [cut.path for cut in lag] == ["sbo", "csb"]
    assert lead[0].length_m == pytest.approx(40 / 360 * wavelength_m(CARRIER_HZ, 0.82))
    assert lead[1].length_m == pytest.approx(320 / 360 * wavelength_m(CARRIER_HZ, 0.82))


def test_the_allowance_is_left_on_with_the_sign_of_the_phase() -> None:
    best = plan_cuts(
        estimate(-40.0), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE, allowance_m=0.010
    )[0]
    assert best.exact_m - best.length_m == pytest.approx(0.010)
    assert best.phase_left_deg == pytest.approx(-phase_for_length_deg(0.010, CARRIER_HZ, 0.82))


def test_uncertainty_leaves_more_on_than_a_small_allowance() -> None:
    best = plan_cuts(
        estimate(-40.0, 3.0), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE, allowance_m=0.010
    )[0]
    assert best.phase_left_deg == pytest.approx(-6.0)
    assert best.phase_left_u_deg == pytest.approx(3.0)


def test_uncertainty_of_the_velocity_factor_adds_to_what_is_left() -> None:
    path = CablePath(0.82, u_velocity_factor=0.0082)
    best = plan_cuts(estimate(-100.0, 1.0), frequency_hz=CARRIER_HZ, sbo=path, csb=path)[0]
    # 1 per cent of the 97.2 degrees that are cut, and twice that of the 100 that are not all cut.
    assert best.phase_left_u_deg == pytest.approx(math.hypot(1.0, 0.972), abs=0.001)
    assert best.phase_left_deg == pytest.approx(-2.0 * math.hypot(1.0, 1.0))


@pytest.mark.parametrize("phase_deg", [-165.0, -60.0, 25.0, 170.0])
@pytest.mark.parametrize("factor_u", [0.0, 0.01])
def test_a_first_cut_takes_too_much_one_time_in_forty_at_most(
    phase_deg: float, factor_u: float
) -> None:
    """Monte Carlo over the true phase and velocity factor: k = 2 is passed 2.3 % of the time."""
    rng = np.random.default_rng(20260517)
    trials, u_deg = 20_000, 1.0
    path = CablePath(0.82, u_velocity_factor=factor_u)
    best = plan_cuts(estimate(phase_deg, u_deg), frequency_hz=CARRIER_HZ, sbo=path, csb=path)[0]
    factors = rng.normal(0.82, factor_u, trials)
    cut_deg = 360.0 * CARRIER_HZ * best.length_m / (299_792_458.0 * factors)
    to_take_deg = abs(phase_deg) + rng.normal(0.0, u_deg, trials)
    too_much = float(np.mean(cut_deg > to_take_deg))
    # 0.0228 is what a normal distribution leaves beyond 2 u; 0.0022 more is 2 u of the count.
    assert 0.01 < too_much < 0.025


def test_a_cut_beyond_the_spare_length_comes_last_and_says_why() -> None:
    plan = plan_cuts(
        estimate(-100.0),
        frequency_hz=CARRIER_HZ,
        sbo=CablePath(0.82, 0.5),
        csb=CablePath(0.82, 2.0),
    )
    assert [(cut.path, cut.within_spare) for cut in plan] == [("csb", True), ("sbo", False)]
    assert "0.500 m to spare" in plan[1].note


def test_a_phase_within_the_fine_control_needs_no_cut() -> None:
    plan = plan_cuts(
        estimate(12.0, 1.0), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE, fine_range_deg=40.0
    )
    assert len(plan) == 1
    assert (plan[0].length_m, plan[0].fine_control_deg) == (0.0, -12.0)
    assert "no cut is needed" in plan[0].note


def test_the_fine_control_is_left_near_the_middle_where_a_choice_exists() -> None:
    """Standing at +12 of +-20, the longer cut in SBO leaves it near the middle; CSB pushes it out.

    After the CSB cut SBO leads by the allowance, and the control has to go back, towards the
    middle; after the SBO cut it has to go further out.
    """
    wave = wavelength_m(CARRIER_HZ, 0.82)
    for now_deg, path in ((12.0, "csb"), (-12.0, "sbo")):
        plan = plan_cuts(
            estimate(180.0),
            frequency_hz=CARRIER_HZ,
            sbo=CABLE,
            csb=CABLE,
            allowance_m=6.0 / 360.0 * wave,
            fine_range_deg=40.0,
            fine_now_deg=now_deg,
        )
        assert plan[0].path == path
        assert abs(now_deg + plan[0].fine_control_deg) <= 10.0


@given(st.floats(-1e4, 1e4))
def test_length_and_phase_are_inverse(phase_deg: float) -> None:
    length_m = length_for_phase_m(phase_deg, CARRIER_HZ, 0.84)
    assert phase_for_length_deg(length_m, CARRIER_HZ, 0.84) == pytest.approx(phase_deg, abs=1e-9)


@given(st.floats(-1e5, 1e5))
def test_a_wrapped_angle_is_the_same_angle(angle_deg: float) -> None:
    wrapped = wrap_deg(angle_deg)
    assert -180.0 < wrapped <= 180.0
    assert abs(math.remainder(wrapped - angle_deg, 360.0)) < 1e-6


@pytest.mark.parametrize("phase_deg", [0.0, 1e-14, -1e-14])
def test_no_phase_is_no_reason_to_cut_off_a_wavelength(phase_deg: float) -> None:
    plan = plan_cuts(estimate(phase_deg), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE)
    assert [cut.length_m for cut in plan] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_half_a_wavelength_turns_the_sense() -> None:
    cut = plan_cuts(estimate(180.0), frequency_hz=CARRIER_HZ, sbo=CABLE, csb=CABLE)[0]
    assert cut.length_m == pytest.approx(half_wave_m(CARRIER_HZ, 0.82))


@pytest.mark.parametrize("factor", [0.0, -0.5, 1.01, math.nan])
def test_an_impossible_velocity_factor_is_refused(factor: float) -> None:
    with pytest.raises(InputError, match="velocity factor"):
        CablePath(factor)


@pytest.mark.parametrize("frequency_hz", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_frequency_is_refused(frequency_hz: float) -> None:
    with pytest.raises(InputError, match="frequency is positive"):
        wavelength_m(frequency_hz)


def test_negative_allowance_spare_and_travel_are_refused() -> None:
    def plan(allowance_m: float = 0.0, fine_range_deg: float = 0.0, fine_now_deg: float = 0.0):
        return plan_cuts(
            estimate(10.0),
            frequency_hz=CARRIER_HZ,
            sbo=CABLE,
            csb=CABLE,
            allowance_m=allowance_m,
            fine_range_deg=fine_range_deg,
            fine_now_deg=fine_now_deg,
        )

    with pytest.raises(InputError, match="leave on"):
        plan(allowance_m=-0.01)
    with pytest.raises(InputError, match="travel"):
        plan(fine_range_deg=-1.0)
    with pytest.raises(InputError, match="outside its travel"):
        plan(fine_range_deg=10.0, fine_now_deg=6.0)
    with pytest.raises(InputError, match="spare"):
        CablePath(0.82, -0.1)
