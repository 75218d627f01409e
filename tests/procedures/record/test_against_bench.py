"""The record of a run that the real `Bench` journalled: the two agree on the bodies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from daq.log.reader import LogReader
from daq.reading import Reading
from daq.roles import Action, Answer, Identity, InstrumentClass, Prompt, WatchCommand, WatchView
from daq.station import parse_station
from procedures.engine.bench import Bench
from procedures.judge import Limit
from procedures.record.collect import collect
from tests.procedures.record.run_log import STATION, RunLog


@dataclass
class Receiver:
    """Reads what it is told; after the list is used up, its last value."""

    log: RunLog
    values: Iterator[float]
    alias: str = "receiver"
    instrument_class: InstrumentClass = InstrumentClass.NAVIGATION_RECEIVER
    identity: Identity = field(default_factory=lambda: Identity("Halvorsund", "NR2", "0417"))
    quantities: frozenset[str] = frozenset({"ddm"})

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        self.log.clock.sleep(0.1)
        return Reading(
            quantity=quantity,
            value=next(self.values),
            u=0.0003,
            source=self.alias,
            point=point,
            utc_ns=self.log.clock.utc_ns(),
            mono_ns=self.log.clock.monotonic_ns(),
        )

    def close(self) -> None:
        pass


@dataclass
class Technician:
    """Says yes, cuts half a metre, and captures when the value is steady in the band."""

    name: str = "technician"

    def answer(self, prompt: Prompt) -> Answer:
        return 0.5 if prompt.kind == "number" else True

    def watching(self, view: WatchView) -> WatchCommand:
        return "capture" if view.steady and view.in_band else "go on"

    def tell(self, text: str) -> None:
        pass


def turned() -> Iterator[float]:
    """Yield 0.102 for a measurement, then a control that is turned to 0.155 and stays."""
    yield from [0.102] * 10
    yield from (0.102 + 0.0053 * n for n in range(10))
    while True:
        yield 0.155


def test_every_kind_of_step_of_the_bench_comes_back_in_the_record(log: RunLog) -> None:
    log.start()
    station = parse_station(STATION, Path("tarnholt-16.toml"))
    receiver = Receiver(log, turned())
    bench = Bench(station, {"receiver": receiver}, Technician(), log.clock, log.journal)
    bench.acknowledge("caution", "Withdrawn from use.", caution="It can kill.")
    found = bench.measure("found", "course width", label="as found")
    action = Action("cut", {"path": "sbo", "stage": "monitor", "length_m": 0.49})
    bench.number("cut", "Cut it.", unit="m", suggestion=0.49, action=action)
    bench.note("plan", "Trim plan", {"length_m": 0.49})
    left = bench.adjust(
        "turn",
        "course width",
        target=0.155,
        band=0.001,
        control="monitor width",
        instruction="Turn it.",
        before=found,
    )
    limit = Limit(low=0.154, high=0.156, source="station file", status="station file")
    bench.judge("verdict", "course width, as left", left.after, limit, rule="simple")
    log.end()
    log.writer.close()
    with LogReader(log.path) as reader:
        record = collect(reader, 1)
    (line,) = record.summary
    assert line.left is not None
    assert (line.left.label, line.left.measurement) == ("as left", left.after)
    assert line.left.worst is not None
    assert line.left.worst.verdict == "in tolerance"
    (adjustment,) = record.adjustments
    assert adjustment.before == found
    assert len(adjustment.series.values) >= left.readings
    (cut,) = record.cuts
    assert (cut.planned_m, cut.really_m) == (0.49, 0.5)
    (caution,) = record.cautions
    assert caution.by == "technician"
    (note,) = record.notes
    assert note.body == {"length_m": 0.49}
