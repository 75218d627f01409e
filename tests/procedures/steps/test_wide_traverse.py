"""Where the wide traverse stands, and where it looks more closely."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from procedures.limit_tables import find_limit
from procedures.steps.wide_traverse import Wide, azimuths_deg, between
from procedures.trims.clearance import check_clearance
from procedures.trims.traverse import Traverse
from tests.support.steps import stage


def test_places_reach_both_edges_and_the_middle(tmp_path: Path) -> None:
    with stage(tmp_path, changes={'outer_step = "2.5 deg"': 'outer_step = "4 deg"'}) as on:
        table = on.bench.station.clearance
        assert table is not None
        azimuths = azimuths_deg(on.bench, table)
    assert azimuths == [-a for a in reversed(azimuths)]
    assert {-35.0, -10.0, 0.0, 10.0, 14.0, 34.0, 35.0} <= set(azimuths)
    assert len(set(azimuths)) == len(azimuths)


def wide(angles: list[float], ddm: list[float]) -> Wide:
    traverse = Traverse("angle_deg", np.array(angles), np.array(ddm))
    inner, outer = (find_limit("localizer", "II", f"clearance_{s}") for s in ("inner", "outer"))
    return Wide(traverse, check_clearance(traverse), inner, outer)


ANGLES = [-35.0, -10.0, -6.0, -2.0, -1.0, 0.0, 1.0, 2.0, 6.0, 10.0, 20.0, 35.0]
DDM = [-0.3, -0.3, -0.3, -0.16, -0.08, 0.0, 0.08, 0.16, 0.3, 0.3, 0.17, 0.3]


def test_places_are_added_beside_a_low_point_near_its_limit() -> None:
    assert between(wide(ANGLES, DDM), 0.3) == [15.0, 27.5]


def test_a_sector_is_known_where_nothing_is_unread_in_it() -> None:
    """Inner sectors begin between 2 and 6 degrees, where 0.180 is reached; outer ones at 10."""
    seen = wide(ANGLES, DDM)

    def known(*unread: tuple[float, float]) -> list[bool]:
        of = replace(seen, unread_deg=unread)
        return [of.knows(sector) for sector in of.check.sectors]

    assert known() == [True] * 4
    assert known((12.0, 19.1)) == [True, True, True, False]
    assert known((-7.0, -6.5)) == [False, True, True, True]
    assert known((9.5, 12.0)) == [True, True, False, False]
    assert known((4.0, 5.0)) == [True, True, False, True]
    assert known((-1.0, 1.0)) == [True] * 4


def test_none_are_added_where_there_is_plenty_or_they_are_close_enough() -> None:
    plenty = [0.25 if d == 0.17 else d for d in DDM]
    assert between(wide(ANGLES, plenty), 0.3) == []
    assert between(wide(ANGLES, DDM), 20.0) == []
