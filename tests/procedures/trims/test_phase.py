"""Phase from a normal and a quadrature reading."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.phase import (
    FeedPath,
    Tone,
    in_the_far_field,
    phase_from_readings,
    quadrature_in_phase,
)

TONES = st.sampled_from([90, 150])
PATHS = st.sampled_from(["sbo", "csb"])


def readings(
    phase_deg: float, size: float, tone: int, line_in: str, angle_deg: float, loss_db: float
) -> tuple[float, float]:
    """Return normal and quadrature readings from phasors through the two paths."""
    line = 10 ** (-loss_db / 20) * cmath.exp(-1j * math.radians(angle_deg))
    sbo = (size / 2 if tone == 150 else -size / 2) * cmath.exp(1j * math.radians(phase_deg))
    csb = 1.0 + 0j
    normal = 2 * (sbo / csb).real
    quadrature = 2 * (sbo * line / csb if line_in == "sbo" else sbo / (csb * line)).real
    return normal, quadrature


@given(
    phase_deg=st.floats(-179.9, 180.0),
    size=st.floats(0.02, 0.3),
    tone=TONES,
    line_in=PATHS,
    angle_deg=st.floats(60, 120),
    loss_db=st.floats(0, 1),
)
def test_the_phase_that_was_set_is_found(
    phase_deg: float, size: float, tone: Tone, line_in: FeedPath, angle_deg: float, loss_db: float
) -> None:
    """Four cases, any line, any loss: phasors in, phase and sense out."""
    normal, quadrature = readings(phase_deg, size, tone, line_in, angle_deg, loss_db)
    found = phase_from_readings(
        normal,
        quadrature,
        wanted_tone=tone,
        line_in=line_in,
        line_angle_deg=angle_deg,
        line_loss_db=loss_db,
    )
    assert abs(math.remainder(found.phase_deg - phase_deg, 360.0)) < 1e-6
    assert abs(found.ddm_in_phase) == pytest.approx(size, rel=1e-9)
    assert (found.ddm_in_phase > 0) is (tone == 150)
    if abs(abs(phase_deg) - 90.0) > 1e-6:
        assert found.reversed is (abs(phase_deg) > 90.0)


@given(st.floats(-0.25, 0.25), st.floats(-0.25, 0.25), st.floats(0.1, 1.2))
def test_phase_does_not_depend_on_the_scale_of_the_readings(
    normal: float, quadrature: float, scale: float
) -> None:
    if math.hypot(normal, quadrature) < 1e-6:
        return
    one = phase_from_readings(normal, quadrature, wanted_tone=150, line_in="sbo")
    other = phase_from_readings(scale * normal, scale * quadrature, wanted_tone=150, line_in="sbo")
    assert abs(math.remainder(one.phase_deg - other.phase_deg, 360.0)) < 1e-6


@given(st.floats(0.01, 0.25), st.floats(-0.25, 0.25))
def test_signs_flip_as_they_should(normal: float, quadrature: float) -> None:
    """Other path: other sign of the phase. Other wanted tone and other readings: same phase."""
    sbo = phase_from_readings(normal, quadrature, wanted_tone=150, line_in="sbo")
    csb = phase_from_readings(normal, quadrature, wanted_tone=150, line_in="csb")
    other = phase_from_readings(-normal, -quadrature, wanted_tone=90, line_in="sbo")
    assert csb.phase_deg == pytest.approx(-sbo.phase_deg)
    assert other.phase_deg == pytest.approx(sbo.phase_deg)
    assert other.ddm_in_phase == pytest.approx(-sbo.ddm_in_phase)


@pytest.mark.parametrize("line_in", ["sbo", "csb"])
@pytest.mark.parametrize("phase_deg", [-160.0, -90.0, -20.0, 0.0, 45.0, 120.0, 175.0])
def test_stated_uncertainty_agrees_with_monte_carlo(line_in: FeedPath, phase_deg: float) -> None:
    """40 000 draws of all four inputs; standard deviation within 3 per cent of u_deg."""
    rng = np.random.default_rng(11)
    u_reading, u_angle, u_loss = 0.001, 1.5, 0.1
    normal, quadrature = readings(phase_deg, 0.155, 150, line_in, 80.0, 0.4)
    stated = phase_from_readings(
        normal, quadrature, wanted_tone=150, line_in=line_in, line_angle_deg=80.0,
        line_loss_db=0.4, u_normal=u_reading, u_quadrature=u_reading, u_line_angle_deg=u_angle,
        u_line_loss_db=u_loss,
    )  # fmt: skip
    draws = 40_000
    n = rng.normal(normal, u_reading, draws)
    q = rng.normal(quadrature, u_reading, draws)
    theta = np.radians(rng.normal(80.0, u_angle, draws))
    turn = 1.0 if line_in == "sbo" else -1.0
    q = q * 10 ** (turn * rng.normal(0.4, u_loss, draws) / 20)
    # Solved as a complex equation, not by the closed form of the module.
    d = n + 1j * turn * (q - n * np.cos(theta)) / np.sin(theta)
    spread = np.degrees(np.angle(d * cmath.exp(-1j * math.radians(phase_deg))))
    assert float(np.std(spread)) == pytest.approx(stated.u_deg, rel=0.03)


def test_a_quadrature_of_five_degrees() -> None:
    """Standards file D5: 5 degrees read 0.0135 DDM where 0.155 is normal."""
    normal = math.sqrt(0.155**2 - 0.0135**2)
    found = phase_from_readings(normal, 0.0135, wanted_tone=150, line_in="sbo")
    assert found.phase_deg == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize(
    ("normal", "quadrature", "message"),
    [
        (0.0, 0.0, "Both readings are zero"),
        (math.nan, 0.0, "no number"),
        (0.4, 0.0, "folded"),
        (0.1, -0.39, "folded"),
    ],
)
def test_readings_that_say_nothing_are_refused(
    normal: float, quadrature: float, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        phase_from_readings(normal, quadrature, wanted_tone=150, line_in="sbo")


def test_readings_within_their_uncertainty_are_refused() -> None:
    with pytest.raises(InputError, match="within their own uncertainty"):
        phase_from_readings(
            0.001, 0.0005, wanted_tone=150, line_in="sbo", u_normal=0.001, u_quadrature=0.001
        )


def test_a_half_wave_line_is_refused() -> None:
    with pytest.raises(InputError, match="nothing about the sense"):
        phase_from_readings(0.1, 0.1, wanted_tone=150, line_in="sbo", line_angle_deg=180.0)


def test_a_negative_loss_is_refused() -> None:
    with pytest.raises(InputError, match="zero or more dB"):
        phase_from_readings(0.1, 0.1, wanted_tone=150, line_in="sbo", line_loss_db=-1.0)


def test_large_readings_carry_a_warning() -> None:
    assert phase_from_readings(0.32, 0.0, wanted_tone=150, line_in="sbo").warnings
    assert not phase_from_readings(0.155, 0.0, wanted_tone=150, line_in="sbo").warnings


def test_what_the_place_adds_is_taken_off_and_its_doubt_added() -> None:
    found = phase_from_readings(0.1, 0.05, wanted_tone=150, line_in="sbo", u_normal=0.0005)
    far = in_the_far_field(found, -12.0, 0.5)
    assert far.phase_deg == pytest.approx(found.phase_deg + 12.0)
    assert far.u_deg == pytest.approx(math.hypot(found.u_deg, 0.5))
    assert not far.reversed
    assert in_the_far_field(found, -70.0).reversed


@pytest.mark.parametrize("line_in", ["sbo", "csb"])
@pytest.mark.parametrize("place_deg", [-15.0, 0.0, 8.0])
def test_the_reading_of_a_place_in_phase_is_the_one_that_leaves_no_phase(
    line_in: FeedPath, place_deg: float
) -> None:
    """Read back, what `quadrature_in_phase` foretells is the place's own phase and nothing more."""
    normal = 0.14 * math.cos(math.radians(place_deg))
    quadrature = quadrature_in_phase(0.14, place_deg, line_in=line_in, line_loss_db=0.3)
    found = phase_from_readings(
        normal, quadrature, wanted_tone=150, line_in=line_in, line_loss_db=0.3
    )
    assert in_the_far_field(found, place_deg).phase_deg == pytest.approx(0.0, abs=1e-9)
