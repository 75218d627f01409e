"""From a drive to places: laws that hold, and the weakest stretch that is found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.course_line import Walked, course_line
from procedures.trims.drive import Drive
from procedures.trims.drive_delay import StatedDelay
from procedures.trims.drive_places import Reduced, around_places, reduce_drive, weakest_between
from procedures.trims.line_fit import Floats
from tests.procedures.trims.driven import ALONG_M, AT_M, SLOPE_PER_M, Made, azimuth_deg

PLACES = [azimuth_deg(x) for x in np.linspace(-90.0, 90.0, 11)]
UNKNOWN = StatedDelay(0.0, 1.0)


def reduced(made: Made, stated: StatedDelay = UNKNOWN) -> Reduced:
    return reduce_drive(made.drive(), around_places(PLACES), stated, u_place_m=0.0)


def line(found: Reduced) -> tuple[float, float, float]:
    """Alignment, its uncertainty, and sensitivity."""
    cells = list(found.places.values())
    walked = Walked(
        [cell.at for cell in cells],
        np.array([cell.ddm for cell in cells]),
        np.array([cell.u_scatter for cell in cells]),
        np.zeros(len(cells)),
        0.0,
        found.u_common_place_m,
    )
    fit = course_line(walked, ALONG_M)
    return fit.alignment_m, fit.alignment_u_m, fit.sensitivity_per_m


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 1.5), st.floats(3.0, 10.0))
def test_the_course_line_is_found_whatever_the_lag(late_s: float, speed_m_s: float) -> None:
    alignment, _, sensitivity = line(reduced(Made(late_s=late_s, speed_m_s=speed_m_s)))
    assert alignment == pytest.approx(AT_M, abs=0.01)
    assert sensitivity == pytest.approx(SLOPE_PER_M, rel=1e-3)


@settings(max_examples=20, deadline=None)
@given(st.floats(-1e6, 1e6))
def test_a_time_shift_of_both_files_changes_nothing(shift_s: float) -> None:
    made = Made(late_s=0.5, noise_ddm=3e-4)
    moved = Made(late_s=0.5, noise_ddm=3e-4, begin_s=shift_s)
    # Rows beside an edge may change their stretch by the rounding of their time.
    assert line(reduced(moved)) == pytest.approx(line(reduced(made)), rel=1e-3, abs=1e-3)


def test_reversing_the_direction_changes_nothing_when_there_is_no_lag() -> None:
    forth, back = (line(reduced(Made(backwards=way))) for way in (False, True))
    assert back == pytest.approx(forth, rel=1e-3, abs=1e-9)


def test_one_direction_is_widened_by_what_is_not_known_of_the_lag() -> None:
    """6 m/s and 0.2 s: 1.2 m; and the error that is made lies within it."""
    one = reduced(Made(late_s=0.3, one_way=True), StatedDelay(0.2, 0.2))
    alignment, u, _ = line(one)
    assert one.u_common_place_m == pytest.approx(1.2, rel=0.01)
    assert u == pytest.approx(1.2, rel=0.01)
    assert alignment - AT_M == pytest.approx(0.6, abs=0.02)


def test_both_directions_alike_leave_nothing_of_it() -> None:
    both = reduced(Made(late_s=0.3, noise_ddm=3e-4))
    assert both.u_common_place_m < 0.01


def sagging(x: Floats) -> Floats:
    """A course to 3 degrees, then 0.22 DDM with a narrow sag to 0.15 at 6.3 degrees."""
    azimuth = np.degrees(np.arctan2(x, ALONG_M))
    sag = 0.07 * np.exp(-(((np.abs(azimuth) - 6.3) / 0.4) ** 2))
    return np.copysign(np.minimum(0.075 * np.abs(azimuth), 0.22) - sag, azimuth)


WIDE = Made(ddm=sagging, speed_m_s=15.0, reach_m=2200.0, late_s=0.4)
STEPS = [float(x) for x in range(-35, 36, 5)]


def test_a_sag_between_two_places_is_found() -> None:
    found = reduce_drive(WIDE.drive(), weakest_between(STEPS, 0.2), UNKNOWN, u_place_m=0.0)
    lowest = {cell.ddm: cell.azimuth_deg for cell in found.places.values() if cell.azimuth_deg > 5}
    assert min(lowest) == pytest.approx(0.15, abs=0.004)
    assert lowest[min(lowest)] == pytest.approx(6.3, abs=0.15)
    assert found.delay.delay_s == pytest.approx(0.4, abs=0.01)


def test_the_outermost_stretches_are_always_there_and_no_stretch_spans_ten_degrees() -> None:
    found = reduce_drive(WIDE.drive(), weakest_between(STEPS, 0.2), UNKNOWN, u_place_m=0.0)
    azimuths = [cell.azimuth_deg for cell in found.places.values()]
    assert (azimuths[0], azimuths[-1]) == pytest.approx((-35.0, 35.0), abs=0.2)
    assert azimuths == sorted(azimuths)
    for cell in found.places.values():
        inner = {abs(azimuth_deg(float(WIDE.lateral_m(np.array(row.time_s - 0.4))))) <= 10.0
                 for row in cell.rows}  # fmt: skip
        assert len(inner) == 1


def test_a_reversed_sense_is_seen_and_not_turned_round() -> None:
    """Its stretches are weakest where DDM is most wrong: beyond the sag, at -0.22."""
    made = Made(ddm=lambda x: -sagging(x), speed_m_s=15.0, reach_m=2200.0)
    found = reduce_drive(made.drive(), weakest_between(STEPS, 0.2), UNKNOWN, u_place_m=0.0)
    assert found.falls
    least = min(cell.ddm for cell in found.places.values() if cell.azimuth_deg > 5.0)
    assert least == pytest.approx(-0.22, abs=0.004)
    forth = reduce_drive(WIDE.drive(), weakest_between(STEPS, 0.2), UNKNOWN, u_place_m=0.0)
    assert not forth.falls


def silent(low_deg: float, high_deg: float, *, first_pass_only: bool = False) -> Drive:
    """The wide drive without a usable row between two azimuths."""
    drive = WIDE.drive()
    azimuth = np.degrees(np.arctan2(WIDE.lateral_m(drive.time_s - 0.4), ALONG_M))
    lost = (azimuth > low_deg) & (azimuth < high_deg)
    if first_pass_only:
        lost &= drive.time_s < 2.0 * WIDE.reach_m / WIDE.speed_m_s
    return replace(drive, ddm=np.where(lost, np.nan, drive.ddm))


def unread(drive: Drive) -> tuple[tuple[float, float], ...]:
    return reduce_drive(drive, weakest_between(STEPS, 0.2), UNKNOWN, u_place_m=0.0).unread_deg


def test_where_no_row_is_usable_is_told_whether_or_not_a_place_was_planned_there() -> None:
    """15 m/s, a row each 0.2 s: 3 m, 0.06 degrees."""
    assert unread(WIDE.drive()) == ()
    (hole,) = unread(silent(12.0, 19.1))
    assert hole == pytest.approx((12.0, 19.1), abs=0.1)
    (short,) = unread(silent(-18.7, -18.2))
    assert short == pytest.approx((-18.7, -18.2), abs=0.1)
    assert unread(silent(12.0, 12.1)) == ()


def test_where_the_drive_ends_short_nothing_is_known_beyond() -> None:
    """No usable row beyond 20 degrees on the 150 Hz side; 0.3 degrees short are as good as none."""
    (beyond,) = unread(silent(20.0, 90.0))
    assert beyond == pytest.approx((20.0, 35.0), abs=0.1)
    assert unread(silent(34.7, 90.0)) == ()
    (before,) = unread(silent(-90.0, -33.0))
    assert before == pytest.approx((-35.0, -33.0), abs=0.1)


def test_what_the_other_pass_holds_is_known() -> None:
    assert unread(silent(12.0, 19.1, first_pass_only=True)) == ()


def test_a_drive_on_one_side_is_no_traverse() -> None:
    with pytest.raises(InputError, match="does not cross the course line"):
        reduced(Made(ddm=lambda x: np.abs(0.001 * x) + 0.01))
