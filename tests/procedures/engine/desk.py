"""A bench with instruments of a few lines, and what became of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import chain, repeat
from pathlib import Path

import numpy as np

from daq.clock import ManualClock
from daq.journal import Journal
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.reading import Quality, Reading
from daq.roles import Identity, InstrumentClass
from daq.station import parse_station
from procedures.engine.adjustment import Adjustment
from procedures.engine.bench import Bench
from procedures.history.references import ReferenceSet
from tests.support.operators import Minded

STATION_TEXT = """
[station]
name = "Tarnholt aerodrome"
runway = "16"
ident = "ITN"
category = "II"
frequency = "109.35 MHz"
log = "bench.tblog"

[geometry]
distance_to_threshold = "3120 m"

[conventions]
alarm_basis = "sensitivity"

[[instruments]]
alias = "receiver"
class = "navigation receiver"
profile = "halvorsund-nr2"
resource = "ASRL./receiver.tty::INSTR"

[[instruments]]
alias = "scope"
class = "oscilloscope"
profile = "fernmark-os4"
resource = "TCPIP::127.0.0.1::5025::SOCKET"

[[points]]
name = "course width"
quantity = "ddm"
instrument = "receiver"
target = "0.155"
adjust_to = "0.001"
control = "monitor width"

[[points]]
name = "course line"
quantity = "ddm"
instrument = "receiver"

[[points]]
name = "line IF"
quantity = "vpp"
instrument = "scope"
channel = "1"

[[points]]
name = "clearance 90 IF"
quantity = "vpp"
instrument = "scope"
channel = "3"

[[points]]
name = "clearance 150 IF"
quantity = "vpp"
instrument = "scope"
channel = "3"
"""

Answered = float | Quality | Exception


@dataclass
class Scripted:
    """An instrument that answers from a list, one reading every 0.1 s; the last one for ever."""

    alias: str
    clock: ManualClock
    script: Iterator[Answered] = field(default_factory=lambda: repeat(0.155))
    quantities: frozenset[str] = frozenset({"ddm", "vpp"})
    instrument_class: InstrumentClass = InstrumentClass.NAVIGATION_RECEIVER
    identity: Identity = field(default_factory=lambda: Identity("M", "1", "2", "3", "raw"))

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        self.clock.sleep(0.1)
        answered = next(self.script)
        if isinstance(answered, Exception):
            raise answered
        bad = isinstance(answered, Quality)
        return Reading(
            quantity=quantity,
            value=float("nan") if isinstance(answered, Quality) else answered,
            u=0.001,
            source=self.alias,
            point=point,
            utc_ns=self.clock.utc_ns(),
            mono_ns=self.clock.monotonic_ns(),
            quality=answered if isinstance(answered, Quality) else Quality.OK,
            raw="----" if bad else str(answered),
        )

    def close(self) -> None:
        pass


@dataclass
class Desk:
    """A bench whose receiver answers from a script, and what became of it."""

    bench: Bench
    who: Minded
    clock: ManualClock
    receiver: Scripted

    def answers(self, *script: Answered, then: Iterable[Answered] = ()) -> None:
        self.receiver.script = chain(script, then)

    def rows(self, kind: Kind) -> list[Entry]:
        with LogReader(self.bench.journal.writer.path) as reader:
            return list(reader.entries(run=1, kind=kind))

    def events(self) -> list[Mapping[str, object]]:
        return [row.body for row in self.rows(Kind.EVENT)]

    def adjust(self, key: str = "width") -> Adjustment:
        before = self.bench.measure(f"{key}/as found", "course width", label="as found")
        return self.bench.adjust(
            key,
            "course width",
            target=0.155,
            band=0.001,
            control="monitor width",
            instruction="Turn it.",
            before=before,
        )


def noisy(value: float, scatter: float, seed: int = 1) -> Iterator[float]:
    rng = np.random.default_rng(seed)
    while True:
        yield value + scatter * float(rng.standard_normal())


@contextmanager
def desk_at(
    folder: Path, clock: ManualClock, references: ReferenceSet | None = None
) -> Iterator[Desk]:
    """A desk whose log lies in `folder`."""
    with LogWriter(folder / "bench.tblog", clock) as writer:
        receiver = Scripted("receiver", clock)
        instruments = {"receiver": receiver, "scope": Scripted("scope", clock, repeat(1.5))}
        who = Minded()
        station = parse_station(STATION_TEXT, Path("bench.toml"))
        journal = Journal(writer, 1)
        bench = Bench(station, instruments, who, clock, journal, references=references)
        yield Desk(bench, who, clock, receiver)
