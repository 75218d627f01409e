"""The course line with errors that all readings have in common, against Monte Carlo."""

from dataclasses import replace

import numpy as np
import pytest

from daq.errors import InputError
from procedures.trims.course_line import NearFieldCorrection, Walked, course_line
from procedures.trims.place import Offset

SENSITIVITY = 0.00145
DISTANCE_M = 3120.0


def walk(*, along_m=DISTANCE_M, shift_m=0.0, factor=1.0, gain=1.0, offset=0.0, noise=None):
    """A perfect traverse: zero at `shift_m` at the threshold, and what is wrong with it."""
    at_threshold = np.linspace(-100.0, 100.0, 11)
    lateral = at_threshold * along_m / DISTANCE_M
    ddm = SENSITIVITY * factor * (at_threshold - shift_m)
    error = np.zeros(11) if noise is None else noise
    return Walked(
        places=[Offset(along_m, float(x)) for x in lateral],
        ddm=ddm * gain + offset + error,
        u_scatter=np.full(11, 0.0002),
        u_common=0.0005 + 0.005 * np.abs(ddm),
        u_place_m=0.0,
        u_common_place_m=0.0,
    )


def test_a_perfect_traverse_gives_what_it_was_made_from():
    line = course_line(walk(shift_m=-3.0), DISTANCE_M)
    assert line.alignment_m == pytest.approx(-3.0)
    assert line.sensitivity_per_m == pytest.approx(SENSITIVITY)
    assert line.course_width_deg == pytest.approx(
        2 * np.degrees(np.arctan(106.897 / 3120)), rel=1e-4
    )
    assert line.symmetry == pytest.approx(0.0, abs=1e-9)
    assert line.linearity_ddm == pytest.approx(0.0, abs=1e-12)


def test_common_errors_are_not_averaged_away():
    """Offset moves the line by offset / sensitivity, gain the sensitivity by gain."""
    line = course_line(walk(), DISTANCE_M)
    assert line.alignment_u_m == pytest.approx(0.0005 / SENSITIVITY, rel=0.05)
    assert line.sensitivity_u_per_m / SENSITIVITY > 0.005


def test_the_stated_uncertainty_covers_what_a_receiver_may_do(rng):
    """Errors drawn as the specification says: at least 95 per cent lie within k=2."""
    inside = np.zeros(2)
    for _ in range(300):
        line = course_line(
            walk(
                gain=1 + 0.005 * rng.standard_normal(),
                offset=0.0005 * rng.standard_normal(),
                noise=0.0002 * rng.standard_normal(11),
            ),
            DISTANCE_M,
        )
        inside += (
            abs(line.alignment_m) <= 2 * line.alignment_u_m,
            abs(line.sensitivity_per_m - SENSITIVITY) <= 2 * line.sensitivity_u_per_m,
        )
    assert np.all(inside / 300 >= 0.94)


def test_the_near_field_is_carried_over_to_the_threshold():
    near = NearFieldCorrection(1.04, 0.01, 0.1, 0.02)
    shift_m = DISTANCE_M * np.tan(np.radians(0.1))
    found = walk(along_m=400.0, factor=1.04)
    moved = replace(
        found,
        places=[
            Offset(400.0, 400.0 * np.tan(np.arctan2(p.lateral_m, 400.0) + np.radians(0.1)))
            for p in found.places
        ],
    )
    line = course_line(moved, DISTANCE_M, near)
    assert line.alignment_m == pytest.approx(0.0, abs=1e-6)
    assert line.sensitivity_per_m == pytest.approx(SENSITIVITY, rel=1e-9)
    assert line.alignment_u_m > DISTANCE_M * np.radians(0.02)
    assert line.sensitivity_u_per_m / SENSITIVITY > 0.01
    without = course_line(moved, DISTANCE_M)
    assert without.alignment_m == pytest.approx(shift_m, rel=1e-2)


def test_positions_that_are_off_together_move_the_line_and_more_so_from_nearby():
    far, near = (
        course_line(replace(walk(along_m=a), u_common_place_m=0.5), DISTANCE_M).alignment_u_m
        for a in (DISTANCE_M, DISTANCE_M / 4)
    )
    assert far == pytest.approx(np.hypot(0.5, course_line(walk(), DISTANCE_M).alignment_u_m))
    assert near > 1.9


def test_one_sided_halves_show_as_asymmetry():
    found = walk()
    bent = replace(found, ddm=np.where(found.ddm > 0, 1.1 * found.ddm, found.ddm))
    line = course_line(bent, DISTANCE_M)
    assert line.symmetry == pytest.approx(1.1 / 2.1 - 0.5, abs=0.003)


def test_one_reading_that_is_out_shows_as_linearity():
    found = walk()
    out = found.ddm.copy()
    out[3] += 0.01
    line = course_line(replace(found, ddm=out), DISTANCE_M)
    assert 0.007 < line.linearity_ddm < 0.01


@pytest.mark.parametrize(
    ("places", "match"),
    [
        ([Offset(-5.0, float(x)) for x in range(11)], "before the antenna"),
        ([Offset(400.0, 3.0)] * 11, "one and the same"),
    ],
)
def test_places_that_make_no_traverse_are_refused(places, match):
    with pytest.raises(InputError, match=match):
        course_line(replace(walk(), places=places), DISTANCE_M)
