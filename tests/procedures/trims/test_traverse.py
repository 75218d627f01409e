"""Alignment and displacement sensitivity from a traverse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.traverse import Traverse, fit_traverse, linear_region
from procedures.trims.width import course_width

OFFSETS_M = np.linspace(-120.0, 120.0, 25)


def straight(slope: float = 0.00145, zero: float = 0.0, *, u: float | None = None) -> Traverse:
    u_ddm = None if u is None else np.full_like(OFFSETS_M, u)
    return Traverse("offset_m", OFFSETS_M, slope * (OFFSETS_M - zero), u_ddm)


@given(st.floats(0.0008, 0.0025), st.floats(-10.0, 10.0))
def test_a_straight_course_is_found_as_it_is(slope: float, zero: float) -> None:
    fit = fit_traverse(straight(slope, zero))
    assert fit.alignment == pytest.approx(zero, abs=1e-9)
    assert fit.sensitivity == pytest.approx(slope)
    assert fit.half_width_left == pytest.approx(0.155 / slope)
    assert fit.half_width_right == pytest.approx(0.155 / slope)
    assert fit.symmetry_percent == pytest.approx(50.0)
    assert fit.warnings == ()


@given(st.floats(-8.0, 8.0), st.floats(0.5, 2.0))
def test_scaling_the_readings_scales_the_slope_and_leaves_the_line(
    zero: float, scale: float
) -> None:
    rng = np.random.default_rng(3)
    noisy = 0.0007 * (OFFSETS_M - zero) + rng.normal(0, 0.0005, OFFSETS_M.size)
    one = fit_traverse(Traverse("offset_m", OFFSETS_M, noisy))
    other = fit_traverse(Traverse("offset_m", OFFSETS_M, noisy * scale))
    assert other.alignment == pytest.approx(one.alignment, rel=1e-9, abs=1e-9)
    assert other.sensitivity == pytest.approx(one.sensitivity * scale)
    assert other.symmetry_percent == pytest.approx(one.symmetry_percent)


def test_stated_uncertainties_agree_with_monte_carlo() -> None:
    """2 000 noisy traverses off the middle: spreads within 5 per cent of what the fit states."""
    rng = np.random.default_rng(5)
    position = np.linspace(-60.0, 115.0, 21)
    u = np.where(position < 0, 0.0008, 0.0004)
    truth = 0.00145 * (position - 4.0)
    fits = [
        fit_traverse(Traverse("offset_m", position, truth + rng.normal(0, u), u), distance_m=3120.0)
        for _ in range(2000)
    ]
    stated = fit_traverse(Traverse("offset_m", position, truth, u), distance_m=3120.0)
    for name in ("alignment", "sensitivity", "half_width_left", "half_width_right"):
        spread = float(np.std([getattr(fit, name) for fit in fits]))
        assert spread == pytest.approx(getattr(stated, f"{name}_u"), rel=0.05), name
    assert stated.course_width_deg_u is not None
    widths = [fit.course_width_deg or math.nan for fit in fits]
    assert float(np.std(widths)) == pytest.approx(stated.course_width_deg_u, rel=0.05)


def test_points_beyond_0_18_are_left_out() -> None:
    ddm = np.where(np.abs(OFFSETS_M) > 115, 0.25 * np.sign(OFFSETS_M), 0.00145 * OFFSETS_M)
    fit = fit_traverse(Traverse("offset_m", OFFSETS_M, ddm))
    assert (fit.points_used, fit.points_given) == (23, 25)
    assert fit.sensitivity == pytest.approx(0.00145)


def test_low_clearance_far_out_is_not_taken_for_the_course() -> None:
    """Beyond 10 degrees DDM may be under 0.18 again; only the run around the course is fitted."""
    angle = np.arange(-35.0, 35.5, 0.5)
    ddm = np.clip(0.083 * angle, -0.2, 0.2)
    ddm = np.where(np.abs(angle) > 20, 0.16 * np.sign(angle), ddm)
    used = linear_region(Traverse("angle_deg", angle, ddm))
    assert np.max(np.abs(angle[used])) < 2.3


def test_different_halves_are_told_apart() -> None:
    ddm = np.where(OFFSETS_M < 0, 0.00155, 0.00135) * OFFSETS_M
    fit = fit_traverse(Traverse("offset_m", OFFSETS_M, ddm))
    assert fit.half_width_left == pytest.approx(0.155 / 0.00155)
    assert fit.half_width_right == pytest.approx(0.155 / 0.00135)
    assert fit.symmetry_percent == pytest.approx(100.0 * 135 / (135 + 155))


def test_curvature_is_reported_when_it_is_significant() -> None:
    rng = np.random.default_rng(8)
    noise = rng.normal(0, 0.0003, OFFSETS_M.size)
    bent = 0.00130 * OFFSETS_M + 1e-6 * OFFSETS_M**2 + noise
    fit = fit_traverse(Traverse("offset_m", OFFSETS_M, bent))
    assert abs(fit.quadratic_significance) > 3.0
    assert any("curved" in text for text in fit.warnings)
    flat = fit_traverse(Traverse("offset_m", OFFSETS_M, 0.00130 * OFFSETS_M + noise))
    assert not any("curved" in text for text in flat.warnings)


def test_width_in_degrees_follows_from_the_distance_or_the_angles() -> None:
    """A course tailored to 105 m at the threshold has the width that the distance asks for."""
    wanted = course_width(3120.0).course_width_deg
    by_offset = fit_traverse(straight(0.155 / 105.0), distance_m=3120.0)
    assert by_offset.course_width_deg == pytest.approx(wanted)
    angle = np.linspace(-2.0, 2.0, 11)
    by_angle = fit_traverse(Traverse("angle_deg", angle, 0.155 / (wanted / 2) * angle))
    assert by_angle.course_width_deg == pytest.approx(wanted)
    assert fit_traverse(straight()).course_width_deg is None


def test_a_falling_course_is_told() -> None:
    fit = fit_traverse(straight(-0.00145))
    assert fit.sensitivity < 0.0
    assert fit.half_width_left > 0.0
    assert any("other way round" in text for text in fit.warnings)


def test_scatter_beyond_the_stated_uncertainty_is_told() -> None:
    rng = np.random.default_rng(2)
    noisy = 0.00145 * OFFSETS_M + rng.normal(0, 0.002, OFFSETS_M.size)
    fit = fit_traverse(Traverse("offset_m", OFFSETS_M, noisy, np.full_like(OFFSETS_M, 0.0003)))
    assert fit.chi2_reduced is not None
    assert fit.chi2_reduced > 4.0
    assert any("scatter" in text for text in fit.warnings)


def test_one_side_only_is_refused() -> None:
    position = np.linspace(10, 100, 10)
    with pytest.raises(InputError, match="does not cross the course line"):
        fit_traverse(Traverse("offset_m", position, 0.00145 * position))


def test_two_points_are_refused() -> None:
    with pytest.raises(InputError, match="needs three"):
        fit_traverse(Traverse("offset_m", np.array([-50.0, 50.0]), np.array([-0.07, 0.07])))


def test_no_slope_is_refused() -> None:
    position = np.array([-1.0, 0.0, 1.0])
    with pytest.raises(InputError, match=r"course line|does not change"):
        fit_traverse(Traverse("offset_m", position, np.zeros(3)))
    with pytest.raises(InputError, match="at one position"):
        fit_traverse(Traverse("offset_m", np.ones(3), np.array([-0.1, 0.0, 0.1])))


def test_a_v_is_no_course() -> None:
    ddm = np.abs(OFFSETS_M) * 0.001 - 0.001
    with pytest.raises(InputError, match=r"no course|No reading|does not change"):
        fit_traverse(Traverse("offset_m", OFFSETS_M, ddm))


def test_a_half_width_far_beyond_the_readings_is_said_to_be_extrapolated() -> None:
    """0.155 / 0.00145 per metre is 106.9 m; readings to 5.5 m reach a nineteenth of it."""
    near, far = np.linspace(-5.5, 5.5, 12), np.linspace(-80.0, 80.0, 17)
    warnings = fit_traverse(Traverse("offset_m", near, 0.00145 * near)).warnings
    assert len(warnings) == 2
    assert "left half width, 106.9 m, is extrapolated" in warnings[0]
    assert "5.5 m, 19 times less" in warnings[1]
    assert fit_traverse(Traverse("offset_m", far, 0.00145 * far)).warnings == ()
