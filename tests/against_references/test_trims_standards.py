"""Trims against the numbers of the standards and of the trade, each with its source."""

from __future__ import annotations

import pytest

from daq.units import parse_ddm
from procedures.trims.alarm import AlarmBasis, alarm_points
from procedures.trims.cable import half_wave_m, wavelength_m
from procedures.trims.width import course_width

INCH_M = 0.0254

# Course width, degrees, by half width of 106.897, 105 and 106.68 m: worked out from the three
# statements of the tailored width (Annex 10 Vol I, 3.1.3.7.1 and Attachment C Fig. C-9; AIM 1-1-9).
WIDTHS = [
    (1500.0, 8.153, 8.008, 8.136),
    (2000.0, 6.119, 6.011, 6.107),
    (2500.0, 4.897, 4.810, 4.887),
    (3000.0, 4.081, 4.009, 4.073),
    (3300.0, 3.711, 3.645, 3.703),
    (3500.0, 3.499, 3.437, 3.492),
    (4000.0, 3.062, 3.007, 3.055),
    (4500.0, 2.722, 2.673, 2.716),
]


@pytest.mark.parametrize("row", WIDTHS)
def test_course_width_by_the_three_conventions(row: tuple[float, float, float, float]) -> None:
    distance_m, *widths = row
    for half_m, width_deg in zip((106.897, 105.0, 106.68), widths, strict=True):
        found = course_width(distance_m, half_width_m=half_m)
        # 0.0007: the table's own last digit, which is not always rounded to nearest.
        assert found.tailored_deg == pytest.approx(width_deg, abs=0.0007)
        assert found.course_width_deg == pytest.approx(min(width_deg, 6.0), abs=0.0007)


@pytest.mark.parametrize(("distance_m", "width_deg"), [(2003.5, 6.0), (4009.8, 3.0)])
def test_the_distances_of_six_and_three_degrees(distance_m: float, width_deg: float) -> None:
    """Same derivation, 105 m."""
    assert course_width(distance_m).tailored_deg == pytest.approx(width_deg, abs=2e-4)


@pytest.mark.parametrize(
    ("basis", "wide", "narrow", "wide_db", "narrow_db"),
    [
        ("sensitivity", 0.1287, 0.1814, -1.618, 1.364),
        ("width", 0.1325, 0.1867, -1.364, 1.618),
    ],
)
def test_alarm_points_at_17_per_cent(
    basis: AlarmBasis, wide: float, narrow: float, wide_db: float, narrow_db: float
) -> None:
    """Annex 10 Attachment C 2.9.2 (width inverse to sensitivity); decibels derived from it."""
    points = alarm_points(0.155, 17.0, basis)
    assert points.wide_ddm == pytest.approx(wide, abs=6e-5)
    assert points.narrow_ddm == pytest.approx(narrow, abs=6e-5)
    assert points.wide_db == pytest.approx(wide_db, abs=6e-4)
    assert points.narrow_db == pytest.approx(narrow_db, abs=6e-4)


@pytest.mark.parametrize(
    ("nominal_deg", "wide_deg", "narrow_deg"),
    [(3.00, 3.614, 2.564), (4.50, 5.422, 3.846), (5.00, 6.024, 4.274), (6.00, 7.229, 5.128)],
)
def test_width_at_the_sensitivity_alarm(
    nominal_deg: float, wide_deg: float, narrow_deg: float
) -> None:
    """W = Wnom / (1 + x), Annex 10 Attachment C 2.9.2."""
    points = alarm_points(0.155, 17.0, "sensitivity")
    assert nominal_deg * 0.155 / points.wide_ddm == pytest.approx(wide_deg, abs=6e-4)
    assert nominal_deg * 0.155 / points.narrow_ddm == pytest.approx(narrow_deg, abs=6e-4)


@pytest.mark.parametrize(
    ("mhz", "metres", "inches"),
    [
        (108.10, 2.7733, 109.185),
        (109.90, 2.7279, 107.396),
        (110.00, 2.7254, 107.299),
        (111.95, 2.6779, 105.430),
        (332.00, 0.9030, 35.551),
    ],
)
def test_wavelengths(mhz: float, metres: float, inches: float) -> None:
    """c / f, and 11 802.85 in / f in MHz: derived."""
    assert wavelength_m(mhz * 1e6) == pytest.approx(metres, abs=6e-5)
    assert wavelength_m(mhz * 1e6) / INCH_M == pytest.approx(inches, abs=6e-4)


@pytest.mark.parametrize(
    ("mhz", "factor", "quarter_in"),
    [
        (108.10, 0.66, 18.02), (109.90, 0.66, 17.72), (111.95, 0.66, 17.40), (332.0, 0.66, 5.87),
        (108.10, 0.85, 23.20), (109.90, 0.85, 22.82), (111.95, 0.85, 22.40), (332.0, 0.85, 7.55),
    ],
)  # fmt: skip
def test_quarter_waves(mhz: float, factor: float, quarter_in: float) -> None:
    """degrees = 360 L f / (c VF): derived."""
    assert half_wave_m(mhz * 1e6, factor) / 2 / INCH_M == pytest.approx(quarter_in, abs=0.006)


def test_half_a_wavelength_is_45_inches() -> None:
    """Velocity factor 0.84 at 110.1 MHz. Common practice, no source."""
    assert half_wave_m(110.1e6, 0.84) / INCH_M == pytest.approx(45.0, abs=0.05)


@pytest.mark.parametrize(
    ("microamperes", "ddm"),
    [
        (150.0, 0.155), (4.84, 0.005), (14.52, 0.015), (30.0, 0.031), (75.0, 0.0775),
        (174.19, 0.180), (387.10, 0.400), (175.0, 0.18083), (160.0, 0.16533), (135.0, 0.13950),
    ],
)  # fmt: skip
def test_deviation_current(microamperes: float, ddm: float) -> None:
    """0.155 DDM = 150 uA, read in secondary texts; the others derived from it."""
    assert parse_ddm(f"{microamperes} uA") == pytest.approx(ddm, abs=6e-6)
