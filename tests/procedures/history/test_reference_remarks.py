"""What is said before a run's values become the reference."""

from __future__ import annotations

import pytest

from daq.clock import ManualClock
from daq.log.reader import LogReader
from daq.station import Station
from procedures.history.reference_remarks import remarks_on
from tests.procedures.history.log_of_years import YearsLog, write_station


@pytest.fixture
def station(tmp_path):
    return write_station(tmp_path)


def write_run(station: Station, clock: ManualClock, procedure: str, result: str = "finished"):
    with YearsLog(station, clock) as log:
        log.start(procedure)
        log.found("course width", 0.155)
        log.end(result)


def remarks(station: Station, run: int) -> tuple[str, ...]:
    with LogReader(station.log_path) as reader:
        return remarks_on(reader, run)


def test_the_newest_baseline_needs_no_remark(station, clock):
    write_run(station, clock, "monitor-baseline")
    write_run(station, clock, "routine")
    assert remarks(station, 1) == ()


def test_a_run_that_is_no_baseline_is_remarked_on(station, clock):
    write_run(station, clock, "routine")
    (remark,) = remarks(station, 1)
    assert remark.startswith("run 1 is no baseline but 'routine'")


def test_an_older_baseline_than_the_newest_that_finished_is_remarked_on(station, clock):
    for result in ("finished", "finished", "aborted"):
        write_run(station, clock, "monitor-baseline", result)
    assert remarks(station, 1) == (
        "run 1 is not the newest 'monitor-baseline' that finished; run 2 is.",
    )
    assert remarks(station, 2) == ()
