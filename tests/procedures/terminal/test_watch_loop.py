"""Watching a quantity without a procedure: all of it is in the log before it is seen."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import LinkTimeout
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.reading import Quality, Reading
from daq.roles import Identity, InstrumentClass, WatchCommand, WatchView
from procedures.history.references import Reference
from procedures.terminal.watch_loop import WatchTask, run_watch


class Meter:
    """Gives the values of a list, ten a second, over and over."""

    alias = "meter"
    instrument_class = InstrumentClass.MULTIMETER
    identity = Identity("Fernmark", "M1")
    quantities = frozenset({"voltage"})

    def __init__(self, clock: ManualClock, values: list[float]) -> None:
        self.clock = clock
        self.values = values
        self.taken = 0

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        self.clock.sleep(0.1)
        value = self.values[self.taken % len(self.values)]
        self.taken += 1
        if value == -math.inf:
            raise LinkTimeout("No answer within 1 s.", instrument=self.alias)
        quality = Quality.OVER if math.isnan(value) else Quality.OK
        now_ns, utc_ns = self.clock.monotonic_ns(), self.clock.utc_ns()
        return Reading(quantity, value, 0.0, self.alias, point, utc_ns, now_ns, quality=quality)

    def close(self) -> None:
        """Nothing to let go of."""


@pytest.fixture
def clock() -> ManualClock:
    return ManualClock()


@pytest.fixture
def journal(tmp_path: Path, clock: ManualClock) -> Iterator[Journal]:
    with LogWriter(tmp_path / "watch.log", clock) as writer:
        yield Journal(writer, 1)


def logged(journal: Journal, kind: Kind) -> list[object]:
    with LogReader(journal.writer.path) as reader:
        return [entry.body for entry in reader.entries() if entry.kind is kind]


def test_the_summary_is_that_of_the_usable_readings(journal: Journal, clock: ManualClock):
    meter = Meter(clock, [1.0, 2.0, math.nan, 4.5])
    views: list[WatchView] = []

    def show(view: WatchView) -> WatchCommand:
        views.append(view)
        assert len(logged(journal, Kind.READING)) == len(views), "on disk before it is shown"
        return "go on"

    task = WatchTask("voltage", point="supply", target=2.0, band=0.5, seconds=2.0)
    summary = run_watch(meter, task, journal=journal, clock=clock, show=show)
    assert (summary.n, summary.not_usable) == (15, 5)
    assert summary.mean == pytest.approx(2.5)
    assert (summary.minimum, summary.maximum, summary.last) == (1.0, 4.5, 4.5)
    assert summary.rate_hz == pytest.approx(10.0)
    assert summary.elapsed_s == pytest.approx(2.0)
    assert summary.unit == "V"
    assert views[0].instruction == "Watching voltage at 'supply' by meter."
    assert (views[0].target, views[0].band) == (2.0, 0.5)


def test_a_reference_is_shown_beside_each_reading_and_taken_from_the_mean(
    journal: Journal, clock: ManualClock
):
    views: list[WatchView] = []

    def show(view: WatchView) -> WatchCommand:
        views.append(view)
        return "go on"

    known = Reference(2.0, 0.1, "voltage", "V")
    task = WatchTask("voltage", seconds=0.4, reference=known)
    summary = run_watch(Meter(clock, [2.0, 3.0]), task, journal=journal, clock=clock, show=show)
    assert {view.reference for view in views} == {2.0}
    assert (summary.reference, summary.difference) == (2.0, 0.5)


def test_a_reference_of_another_quantity_is_not_shown(journal: Journal, clock: ManualClock):
    views: list[WatchView] = []

    def show(view: WatchView) -> WatchCommand:
        views.append(view)
        return "go on"

    task = WatchTask("voltage", seconds=0.1, reference=Reference(0.1, 0.1, "ddm", "1"))
    run_watch(Meter(clock, [2.0]), task, journal=journal, clock=clock, show=show)
    assert [view.reference for view in views] == [None]


def test_without_a_time_it_goes_on_until_it_is_stopped(journal: Journal, clock: ManualClock):
    commands: list[WatchCommand] = ["go on", "capture", "redo", "go on", "abort"]
    meter = Meter(clock, [1.0, 2.0, 3.0, 4.0, 5.0])
    summary = run_watch(
        meter,
        WatchTask("voltage"),
        journal=journal,
        clock=clock,
        show=lambda _view: commands.pop(0),
    )
    assert (summary.n, summary.mean) == (2, 4.5)
    assert logged(journal, Kind.EVENT) == [
        {"event": "marked", "shown": 1.5},
        {"event": "watch begun again"},
    ]
    assert len(logged(journal, Kind.READING)) == 5


def test_a_watch_without_a_single_value_has_no_figures(journal: Journal, clock: ManualClock):
    summary = run_watch(
        Meter(clock, [math.nan]),
        WatchTask("voltage", seconds=0.5),
        journal=journal,
        clock=clock,
        show=lambda _view: "go on",
    )
    assert (summary.n, summary.mean, summary.minimum, summary.last) == (0, None, None, None)
    assert (summary.reference, summary.difference) == (None, None)


def test_a_failing_instrument_leaves_a_gap_in_the_log_and_is_reported(
    journal: Journal, clock: ManualClock
):
    with pytest.raises(LinkTimeout):
        run_watch(
            Meter(clock, [1.0, -math.inf]),
            WatchTask("voltage"),
            journal=journal,
            clock=clock,
            show=lambda _view: "go on",
        )
    (gap,) = logged(journal, Kind.EVENT)
    assert isinstance(gap, dict)
    assert gap["event"] == "gap"
