"""Rows averaged to places: which rows go where, and how uncertain a place is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.errors import InputError
from daq.reading import Quality
from procedures.trims.drive_cells import between_places, cells
from procedures.trims.drive_delay import Delay
from procedures.trims.line_fit import Floats
from tests.procedures.trims.driven import ALONG_M, Made, azimuth_deg, straight

EDGES = [azimuth_deg(x) for x in np.linspace(-90.0, 90.0, 10)]
IN_TIME = Delay(0.0, 0.0, 0.0, estimated=True, hysteresis_m=0.0, passes=2)


def test_edges_lie_half_way_between_places() -> None:
    assert between_places([0.0, 1.0, 3.0]) == [-0.5, 0.5, 2.0, 4.0]


def test_each_row_goes_to_the_stretch_in_which_it_was_made() -> None:
    found = cells(Made().drive(), IN_TIME, EDGES)
    assert list(found) == list(range(9))
    for n, cell in found.items():
        assert EDGES[n] <= cell.azimuth_deg <= EDGES[n + 1]
        assert cell.ddm == pytest.approx(float(straight(np.array(cell.at.lateral_m))), abs=1e-12)
        assert len(cell.rows) == cell.n


def test_rows_that_may_not_be_used_stand_beside_and_are_not_averaged() -> None:
    drive = Made().drive()
    bad = 80
    rows = list(drive.rows)
    rows[bad] = replace(rows[bad], ddm=0.3, quality=Quality.FLAGGED)
    ddm = drive.ddm.copy()
    ddm[bad] = np.nan
    clean = cells(drive, IN_TIME, EDGES)
    (n,) = [n for n, cell in clean.items() if drive.rows[bad] in cell.rows]
    cell = cells(replace(drive, rows=tuple(rows), ddm=ddm), IN_TIME, EDGES)[n]
    assert rows[bad] in cell.rows
    assert cell.n == len(cell.rows) - 1
    assert cell.ddm == pytest.approx(float(straight(np.array(cell.at.lateral_m))), abs=1e-12)


def test_rows_just_after_a_turn_are_not_averaged_while_the_receiver_settles() -> None:
    """At 6 m/s four time constants of 0.5 s are 12 m of the 20 m before the turn at 100 m."""
    late = replace(IN_TIME, delay_s=0.5, lag_s=0.5)
    edges = [azimuth_deg(x) for x in (-20.0, 0.0, 20.0, 80.0, 101.0)]
    found = cells(Made(late_s=0.5).drive(), late, edges)
    assert found[1].n == len(found[1].rows)
    assert len(found[3].rows) - found[3].n >= 2.0 / 0.2
    assert found[3].n >= 8


def test_the_uncertainty_of_a_place_is_that_of_a_monte_carlo() -> None:
    """White noise of 0.001 DDM in about 33 rows a place."""
    runs = [cells(Made(noise_ddm=1e-3, seed=s).drive(), IN_TIME, EDGES) for s in range(80)]
    errors = np.array([run[4].ddm - straight(np.array(run[4].at.lateral_m)) for run in runs])
    said = float(np.mean([run[4].u_scatter for run in runs]))
    assert said == pytest.approx(1e-3 / np.sqrt(runs[0][4].n), rel=0.1)
    assert np.std(errors) == pytest.approx(said, rel=0.25)


def test_what_smoothing_takes_off_a_bend_is_in_the_uncertainty() -> None:
    """For a parabola c x^2 first-order smoothing leaves c v^2 tau^2 after its delay is corrected:
    half the curvature, 2 c, times (v tau)^2; exact, since higher derivatives are zero."""

    def parabola(x: Floats) -> Floats:
        return 1e-5 * x**2

    lag = replace(IN_TIME, lag_s=0.5)
    cell = cells(Made(ddm=parabola).drive(), lag, EDGES)[4]
    assert cell.u_smoothing == pytest.approx(1e-5 * (6.0 * 0.5) ** 2, rel=0.03)
    assert cells(Made(ddm=parabola).drive(), IN_TIME, EDGES)[4].u_smoothing == 0.0


def test_a_traverse_elsewhere_has_no_rows() -> None:
    with pytest.raises(InputError, match="No usable row of the log lies on the traverse"):
        cells(Made().drive(), IN_TIME, [20.0, 21.0])


def test_the_distance_is_that_of_the_rows() -> None:
    assert cells(Made().drive(), IN_TIME, EDGES)[0].at.along_m == pytest.approx(ALONG_M)
