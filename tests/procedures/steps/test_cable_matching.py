"""One set of cables: what is typed, what is swept, what may be cut."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.cable_matching import SetWork, check_condition, match_set
from tests.support.ground import Ground, ground


def work_on(on: Ground) -> SetWork:
    from daq.journal import Journal
    from procedures.engine.bench import Bench

    bench = Bench(
        on.bench.station, on.bench.instruments, on.who, on.bench.clock,
        Journal(on.bench.writer, 1),
    )  # fmt: skip
    return SetWork(bench, "feed", on.bench.station.cable_sets["feed"])


def test_what_was_cut_is_no_longer_to_spare() -> None:
    with ground({"transmit_phase_error_deg": -90.0}) as on:
        work = work_on(on)
        before_m = work.spare_m(work.table.cable("sbo transmitter"))
        match_set(work)
        assert work.spare_m(work.table.cable("sbo transmitter")) < before_m - 0.5
        cut_m = sum(cut for name, cut in on.plant.truth().cuts if name == "sbo transmitter")
    assert work.cut_m["sbo transmitter"] == pytest.approx(cut_m, abs=0.004)


def test_insulation_is_typed_in_megohm_and_judged_in_ohm() -> None:
    with ground() as on:
        on.who.answers = {"csb transmitter/insulation": 19.0}
        check_condition(work_on(on))
    asked = {prompt.key: prompt for prompt in on.who.asked}
    assert asked["cables/feed/csb transmitter/insulation"].unit == "megohm"


def test_a_sweep_is_looked_for_beside_the_station_file(tmp_path: Path) -> None:
    with ground() as on:
        on.bench.sim.hands.cables.folder = tmp_path
        with pytest.raises(Refused, match=r"feed-csb-transmitter-1\.s1p"):
            match_set(work_on(on))
