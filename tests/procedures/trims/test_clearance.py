"""Clearance minima per sector."""

from __future__ import annotations

import numpy as np
import pytest

from daq.errors import InputError
from procedures.judge import Verdict
from procedures.trims.clearance import TURNED_ROUND, check_clearance
from procedures.trims.line_fit import Floats
from procedures.trims.traverse import Traverse

ANGLES = np.arange(-36.0, 36.25, 0.25)


def pattern(*, dip_at: float = 99.0, dip_to: float = 0.0) -> Floats:
    """Return a course of 0.08 DDM/deg held at 0.22, with one low point."""
    ddm = np.clip(0.08 * ANGLES, -0.22, 0.22)
    return np.where(np.abs(ANGLES - dip_at) < 0.01, dip_to, ddm)


def test_a_good_pattern_is_in_tolerance_in_four_sectors() -> None:
    check = check_clearance(Traverse("angle_deg", ANGLES, pattern()))
    assert [(s.side, s.to_deg) for s in check.sectors] == [
        ("90", 10.0), ("90", 35.0), ("150", 10.0), ("150", 35.0),
    ]  # fmt: skip
    assert {s.judgement.verdict for s in check.sectors} == {Verdict.IN_TOLERANCE}
    assert check.missing == ()
    assert check.reached_deg == (36.0, 36.0)


@pytest.mark.parametrize(
    ("dip_at", "dip_to", "side", "to_deg"),
    [(6.0, 0.17, "150", 10.0), (-7.5, -0.179, "90", 10.0), (-20.0, -0.15, "90", 35.0)],
)
def test_the_lowest_point_is_found_where_it_is(
    dip_at: float, dip_to: float, side: str, to_deg: float
) -> None:
    check = check_clearance(Traverse("angle_deg", ANGLES, pattern(dip_at=dip_at, dip_to=dip_to)))
    out = [s for s in check.sectors if s.judgement.verdict is Verdict.OUT_OF_TOLERANCE]
    assert [(s.side, s.to_deg, s.at_deg) for s in out] == [(side, to_deg, dip_at)]
    assert out[0].lowest_ddm == pytest.approx(abs(dip_to))


def test_a_wrong_predominance_off_course_is_out_of_tolerance_however_large() -> None:
    check = check_clearance(Traverse("angle_deg", ANGLES, pattern(dip_at=15.0, dip_to=-0.3)))
    assert min(s.lowest_ddm for s in check.sectors) == pytest.approx(-0.3)


def test_0_17_is_enough_beyond_ten_degrees_only() -> None:
    check = check_clearance(Traverse("angle_deg", ANGLES, pattern(dip_at=12.0, dip_to=0.17)))
    assert all(s.judgement.verdict is Verdict.IN_TOLERANCE for s in check.sectors)


def test_sides_follow_the_course_and_not_the_count_of_angles() -> None:
    mirrored = Traverse("angle_deg", ANGLES, pattern(dip_at=6.0, dip_to=0.17)[::-1].copy())
    low = min(check_clearance(mirrored).sectors, key=lambda sector: sector.lowest_ddm)
    assert (low.side, low.at_deg) == ("150", -6.0)


def test_sides_that_were_named_by_the_readings_are_told() -> None:
    """Nobody said on which side positions are positive."""
    mirrored = Traverse("angle_deg", ANGLES, -pattern())
    assert check_clearance(mirrored).warnings == (TURNED_ROUND,)
    assert check_clearance(Traverse("angle_deg", ANGLES, pattern())).warnings == ()


def test_where_the_150_side_is_known_a_falling_ddm_is_a_reversed_sense() -> None:
    """-0.22 on the 150 Hz side is a false approach everywhere, and no good clearance of 0.22."""
    mirrored = Traverse("angle_deg", ANGLES, -pattern())
    with pytest.raises(InputError, match="the sense of the station"):
        check_clearance(mirrored, positive_side_150=True)
    straight = Traverse("angle_deg", ANGLES, pattern())
    assert check_clearance(straight, positive_side_150=True) == check_clearance(straight)


def test_uncertainty_makes_a_narrow_pass_too_close_to_call() -> None:
    ddm = pattern(dip_at=6.0, dip_to=0.181)
    traverse = Traverse("angle_deg", ANGLES, ddm, np.full_like(ddm, 0.001))
    low = min(check_clearance(traverse, rule="guarded").sectors, key=lambda s: s.lowest_ddm)
    assert low.judgement.verdict is Verdict.TOO_CLOSE


def test_what_was_not_measured_is_missing_and_not_in_tolerance() -> None:
    near = np.abs(ANGLES) < 8
    check = check_clearance(Traverse("angle_deg", ANGLES[near], pattern()[near]))
    assert len(check.sectors) == 2
    assert [text for text in check.missing if "no reading from 10 to 35" in text] == list(
        check.missing
    )
    weak = check_clearance(Traverse("angle_deg", ANGLES, pattern() * 0.7))
    assert any("not reached" in text for text in weak.missing)


def test_readings_that_end_early_are_told() -> None:
    short = ANGLES < 20
    check = check_clearance(Traverse("angle_deg", ANGLES[short], pattern()[short]))
    assert len(check.missing) == 1
    assert "150 Hz side: the readings end at 19.8 degrees" in check.missing[0]


def test_metres_need_the_distance() -> None:
    offsets = 3000.0 * np.tan(np.radians(ANGLES))
    traverse = Traverse("offset_m", offsets, pattern(dip_at=6.0, dip_to=0.17))
    with pytest.raises(InputError, match="sectors are angles"):
        check_clearance(traverse)
    check = check_clearance(traverse, distance_m=3000.0)
    assert min(s.lowest_ddm for s in check.sectors) == pytest.approx(0.17)


def test_the_flank_that_still_rises_is_no_low_point() -> None:
    """A reading of 0.181 on the way up to 0.22 is no sag: guarded, it would be too close."""
    at = np.array([-20.0, -8.0, -4.0, -2.4, -1.0, 0.0, 1.0, 2.4, 4.0, 8.0, 20.0])
    ddm = np.array([-0.22, -0.22, -0.21, -0.181, -0.075, 0.0, 0.075, 0.181, 0.21, 0.22, 0.22])
    check = check_clearance(
        Traverse("angle_deg", at, ddm, np.full_like(ddm, 0.002)), rule="guarded"
    )
    assert {s.judgement.verdict for s in check.sectors} == {Verdict.IN_TOLERANCE}
    sagging = np.where(at == 4.0, 0.15, ddm)
    low = check_clearance(Traverse("angle_deg", at, sagging, np.full_like(ddm, 0.002)))
    assert min(s.lowest_ddm for s in low.sectors) == 0.15


def test_a_sector_says_where_its_limit_was_reached_and_how_far_ddm_rose() -> None:
    """A flank that rises as far as 10 degrees is a whole sector, and not one point of it."""
    rising = np.sign(ANGLES) * np.minimum(0.08 * np.abs(ANGLES), 0.16 + 0.008 * np.abs(ANGLES))
    check = check_clearance(Traverse("angle_deg", ANGLES, rising))
    inner = [s for s in check.sectors if s.reached_deg is not None]
    assert [(s.side, s.reached_deg) for s in inner] == [("90", 2.5), ("150", 2.5)]
    assert {s.searched for s in inner} == {"0.180 reached at 2.5 deg, rising as far as 10 deg"}
    sagging = np.where(np.abs(ANGLES) == 6.0, np.sign(ANGLES) * 0.17, rising)
    first = check_clearance(Traverse("angle_deg", ANGLES, sagging)).sectors[0]
    assert first.searched == (
        "0.180 reached at 2.5 deg, rising to 5.8 deg, and from there to 10 deg"
    )
    assert check.sectors[1].searched == "10.0 to 35 deg"
