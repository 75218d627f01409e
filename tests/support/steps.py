"""One step of a procedure on its own, on a simulated bench in order but for what is said."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.station import parse_station
from procedures.engine.bench import Bench
from tests.support.in_process import InProcessBench
from tests.support.operators import Minded
from tests.support.plants import STATION

IN_ORDER: Mapping[str, object] = {
    "phase_error_deg": 0.0, "width_ratio": 1.0, "line_angle_error_deg": 0.0,
    "line_loss_error_db": 0.0,
}  # fmt: skip


@dataclass(frozen=True)
class Stage:
    """A bench for one step, the simulated bench under it, and who answers."""

    bench: Bench
    under: InProcessBench
    who: Minded

    def requests(self, do: str) -> dict[str, Mapping[str, object]]:
        """What was journalled with that verb, by key."""
        with LogReader(self.under.writer.path) as reader:
            rows = [(e.key, e.body["request"]) for e in reader.entries(run=1, kind=Kind.OUTCOME)]
        return {key: row for key, row in rows if isinstance(row, Mapping) and row["do"] == do}

    def turn(self, control: str, by: float) -> None:
        """Turn a control behind everybody's back."""
        self.under.sim.hands.do("turn", {"control": control, "by": by})

    def position(self, control: str) -> float:
        """Where a control stands, 0 to 1."""
        return self.under.sim.plant.position(control)

    def width_ddm(self) -> float:
        """DDM of the width channel by the plant's own phasors, phase zero."""
        return 2.0 * self.under.sim.plant.truth().sbo_to_csb


@contextmanager
def stage(
    folder: Path,
    *,
    changes: Mapping[str, str] | None = None,
    plant: Mapping[str, object] | None = None,
) -> Iterator[Stage]:
    """Make a stage from the demonstration's station file with pieces of its text changed."""
    text = STATION.read_text(encoding="utf-8")
    for before, after in (changes or {}).items():
        assert before in text
        text = text.replace(before, after)
    station = parse_station(text, STATION)
    with InProcessBench.make(
        station, {**IN_ORDER, **(plant or {})}, log=folder / "x.tblog"
    ) as made:
        who = Minded(made.technician(1))
        bench = Bench(station, made.instruments, who, made.clock, Journal(made.writer, 1))
        yield Stage(bench, made, who)
