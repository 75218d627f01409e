"""Course against clearance carrier, one at a time."""

from __future__ import annotations

from pathlib import Path

import pytest

from procedures.steps.capture import _region, judge_capture, measure_capture
from sim_instruments.geometry import Position
from tests.support.steps import stage


def test_the_ratio_is_that_of_the_carriers_at_each_place(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        table = on.bench.station.clearance
        assert table is not None
        capture = measure_capture(on.bench, table)
        truth = [
            on.under.sim.plant.field_truth(Position.at_azimuth(2000.0, a)).course_to_clearance_db
            for a in capture.azimuth_deg
        ]
        judged = judge_capture(on.bench, capture)
    assert capture.ratio_db == pytest.approx(truth, abs=0.2)
    assert (judged.value, judged.limit.low) == (capture.ratio_db[2], 10.0)


@pytest.mark.parametrize(
    ("ratio_db", "region"),
    [
        ([-2.0, 6.0, 14.0, 6.0, -6.0], (-7.0, 6.0)),
        ([2.0, 6.0, 14.0, 6.0, 2.0], (None, None)),
        ([-2.0, -1.0, -1.0, 6.0, 2.0], (None, None)),
    ],
)
def test_the_captured_region_ends_where_the_carriers_are_equal(
    ratio_db: list[float], region: tuple[float | None, float | None]
) -> None:
    assert _region([-8.0, -4.0, 0.0, 4.0, 8.0], ratio_db) == pytest.approx(region)
