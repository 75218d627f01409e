"""Which sectors of a wide traverse are judged, and as what."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from procedures.limit_tables import find_limit
from procedures.steps.wide_traverse import Wide
from procedures.steps.wide_verdict import judge_wide
from procedures.trims.clearance import check_clearance
from procedures.trims.traverse import Traverse
from tests.support.steps import stage

ANGLES = np.arange(-36.0, 36.25, 0.5)


def wide(*, dip_to: float, unread: tuple[tuple[float, float], ...]) -> Wide:
    """0.22 DDM off course, but for one place of the 150 Hz side's outer sector."""
    ddm = np.where(ANGLES == 25.0, dip_to, np.clip(0.08 * ANGLES, -0.22, 0.22))
    traverse = Traverse("angle_deg", ANGLES, ddm, np.full_like(ddm, 0.001))
    inner, outer = (find_limit("localizer", "II", f"clearance_{s}") for s in ("inner", "outer"))
    check = check_clearance(traverse, rule="guarded", positive_side_150=True)
    return Wide(traverse, check, inner, outer, unread)


@pytest.mark.parametrize(
    ("dip_to", "unread", "verdict"),
    [
        (0.22, (), "in tolerance"),
        (0.22, ((12.0, 19.1),), None),
        (0.22, ((2.0, 3.0), (-19.0, -12.0)), "in tolerance"),
        (0.12, ((12.0, 19.1),), "out of tolerance"),
        (0.1555, ((12.0, 19.1),), "too close to call"),
    ],
)
def test_what_was_not_read_may_be_lower_and_never_in_tolerance(
    tmp_path: Path, dip_to: float, unread: tuple[tuple[float, float], ...], verdict: str | None
) -> None:
    with stage(tmp_path) as on:
        found = judge_wide(on.bench, wide(dip_to=dip_to, unread=unread))
        told = on.who.told
    outer = found.get("150 outer")
    assert (None if outer is None else str(outer.verdict)) == verdict
    said = any("NOT JUDGED: clearance, 150 Hz side, outer" in words for words in told)
    assert said is (verdict is None)


def test_an_inner_sector_that_was_not_read_as_a_whole_is_not_judged_by_its_most(
    tmp_path: Path,
) -> None:
    with stage(tmp_path) as on:
        found = judge_wide(on.bench, wide(dip_to=0.22, unread=((5.0, 7.0),)))
    assert set(found) == {"90 inner", "90 outer", "150 outer"}
