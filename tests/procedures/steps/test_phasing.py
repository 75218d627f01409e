"""Monitor phasing where it cannot be done, and where nothing has to be done."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.phasing import phase_and_width
from tests.support.steps import stage


def test_a_monitor_that_is_in_order_needs_no_cut(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        done = phase_and_width(on.bench, "monitor")
        assert on.under.sim.plant.truth().lines_in == []
    assert done.cuts == 0
    assert abs(done.quadrature.value) <= 0.001
    assert done.normal.value == pytest.approx(0.155, abs=0.001)


@pytest.mark.parametrize("phase_deg", [-170.0, -91.0, -30.0, 45.0, 120.0, 180.0])
def test_one_cut_is_enough_wherever_the_phase_is_found(phase_deg: float, tmp_path: Path) -> None:
    """The phase that is stated lies within k=3 of what the plant was given."""
    with stage(tmp_path, plant={"phase_error_deg": phase_deg}) as on:
        done = phase_and_width(on.bench, "monitor")
        note = on.requests("note")["phasing/monitor/round 1/phase"]
    error = (float(str(note["phase_deg"])) - phase_deg + 180.0) % 360.0 - 180.0
    assert abs(error) <= 3.0 * float(str(note["u_deg"]))
    assert note["reversed"] is (abs(phase_deg) > 90.0)
    assert done.cuts == 1
    assert done.normal.value == pytest.approx(0.155, abs=0.001)


def test_reversed_by_half_a_wave_is_mended_by_half_a_wavelength(tmp_path: Path) -> None:
    """At 109.35 MHz and 0.82 half a wavelength is c x 0.82 / (2 f) = 1.124 m."""
    with stage(tmp_path, plant={"phase_error_deg": 180.0}) as on:
        phase_and_width(on.bench, "monitor")
        (cut,) = on.under.sim.plant.truth().cuts
    assert cut[1] == pytest.approx(299_792_458 * 0.82 / (2 * 109.35e6), abs=0.03)


def test_too_little_spare_cable_is_refused_with_what_is_missing(tmp_path: Path) -> None:
    with stage(
        tmp_path, changes={'spare = "1.30 m"': 'spare = "0.10 m"'}, plant={"phase_error_deg": 180.0}
    ) as on:
        with pytest.raises(Refused, match="spare cable cannot bring 'course width' into phase"):
            phase_and_width(on.bench, "monitor")
        assert on.under.sim.plant.truth().cuts == []
        assert on.bench.hazards == {}


def test_after_the_stations_number_of_rounds_it_stops_and_says_so(tmp_path: Path) -> None:
    """One round cannot do when the width has to be turned as well."""
    with (
        stage(
            tmp_path, changes={"max_rounds = 6": "max_rounds = 1"}, plant={"width_ratio": 0.6}
        ) as on,
        pytest.raises(Refused, match="After 1 rounds the null and the width"),
    ):
        phase_and_width(on.bench, "monitor")


def test_a_station_without_the_table_is_refused(tmp_path: Path) -> None:
    with stage(tmp_path) as on, pytest.raises(Refused, match=r"no table \[phasing.transmitter\]"):
        phase_and_width(on.bench, "transmitter")


def test_what_was_really_cut_counts_against_the_spare(tmp_path: Path) -> None:
    """The length that the technician enters is taken from the spare, not the planned one."""
    with stage(tmp_path, plant={"phase_error_deg": -60.0}) as on:
        on.who.answers = {"/cut": 0.25}
        # Nothing is cut in the plant, so the same is found again until the spare is used up.
        with pytest.raises(Refused):
            phase_and_width(on.bench, "monitor")
        made = [row for key, row in on.requests("note").items() if key.endswith("cut made")]
    assert [round(float(str(row["spare_left_m"])), 3) for row in made[:3]] == [1.05, 0.8, 0.55]
