"""Seeded plants for the work before the antennas, and what the verdicts on them are worth.

All values are invented; ranges reach beyond the limits, so that there is something to reject.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.reading import Reading
from daq.roles import Identity, Instrument, InstrumentClass
from daq.station import Station, parse_station
from procedures.engine.runner import RunEnd
from procedures.trims.traverse import Traverse, TraverseFit, fit_traverse
from sim_instruments.geometry import Position
from sim_instruments.plant import Plant
from tests.support.in_process import InProcessBench
from tests.support.operators import Minded
from tests.support.plants import STATION


@cache
def _demonstration() -> str:
    return STATION.read_text(encoding="utf-8")


def station_with(folder: Path, changes: Mapping[str, str] | None = None) -> Station:
    """The demonstration's station in `folder`, with pieces of its text changed."""
    text = _demonstration()
    for before, after in (changes or {}).items():
        assert before in text, before
        text = text.replace(before, after)
    return parse_station(text, folder / STATION.name)


@dataclass(frozen=True)
class OffInstrument:
    """An instrument with errors that its specification allows, the same in every reading."""

    inner: Instrument
    gain_error: float = 0.0
    offset: float = 0.0

    @property
    def alias(self) -> str:
        return self.inner.alias

    @property
    def instrument_class(self) -> InstrumentClass:
        return self.inner.instrument_class

    @property
    def identity(self) -> Identity:
        return self.inner.identity

    @property
    def quantities(self) -> frozenset[str]:
        return self.inner.quantities

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        reading = self.inner.measure(quantity, point=point, channel=channel)
        if quantity != "ddm":
            return reading
        return replace(reading, value=reading.value * (1.0 + self.gain_error) + self.offset)

    def close(self) -> None:
        self.inner.close()


@dataclass(frozen=True)
class Ran:
    """One run: how it ended, and the requests that it journalled, by key."""

    end: RunEnd
    requests: Mapping[str, Mapping[str, Any]]
    told: tuple[str, ...]

    def judged(self) -> dict[str, Mapping[str, Any]]:
        """The verdicts on the station; that of the sense check is one on the receiver."""
        judged = {key: row for key, row in self.requests.items() if row["do"] == "judge"}
        return {key: row for key, row in judged.items() if not key.startswith("sense/")}


@dataclass
class Ground:
    """A bench in a folder of its own, before a run."""

    bench: InProcessBench
    folder: Path
    who: Minded = field(init=False)

    def __post_init__(self) -> None:
        self.bench.sim.hands.cables.folder = self.folder
        self.who = Minded(self.bench.technician(1))

    @property
    def plant(self) -> Plant:
        return self.bench.sim.plant

    def err(self, rng: np.random.Generator) -> None:
        """Give the receiver errors as large as its specification allows: 0.0010 + 1 %, k=2."""
        self.bench.instruments["receiver"] = OffInstrument(
            self.bench.instruments["receiver"],
            gain_error=0.005 * float(rng.standard_normal()),
            offset=0.0005 * float(rng.standard_normal()),
        )

    def run(self, procedure: str) -> Ran:
        end = self.bench.run(procedure, self.who)
        with LogReader(self.bench.writer.path) as reader:
            rows = {e.key: e.body["request"] for e in reader.entries(run=1, kind=Kind.OUTCOME)}
        return Ran(end, rows, tuple(self.who.told))  # type: ignore[arg-type]  # rows are objects


@contextmanager
def ground(
    plant: Mapping[str, object] | None = None, changes: Mapping[str, str] | None = None
) -> Iterator[Ground]:
    """A fresh bench on one plant, in a folder that goes with it."""
    in_order = {"phase_error_deg": 0.0, **(plant or {})}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        station = station_with(folder, changes)
        log = folder / "ground.tblog"
        with InProcessBench.make(station, in_order, log=log) as made:
            yield Ground(made, folder)


def true_course(plant: Plant, *, distance_m: float = 3120.0) -> TraverseFit:
    """The course line at the threshold, by an ideal receiver at exact places."""
    lateral = np.linspace(-95.0, 95.0, 11)
    ddm = [plant.field_truth(Position(distance_m, float(x))).ddm for x in lateral]
    return fit_traverse(Traverse("offset_m", lateral, np.array(ddm)), distance_m=distance_m)


@dataclass(frozen=True)
class Called:
    """One verdict and the truth."""

    what: str
    value: float
    u: float
    low: float | None
    high: float | None
    verdict: str
    truth: float

    @property
    def truly_in(self) -> bool:
        return _within(self.truth, self.low, self.high)

    @property
    def simply_in(self) -> bool:
        return _within(self.value, self.low, self.high)


def called(row: Mapping[str, Any], truth: float) -> Called:
    return Called(
        str(row["quantity"]),
        float(row["value"]),
        float(row["u"]),
        row["low"],
        row["high"],
        str(row["verdict"]),
        truth,
    )


def _within(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


@dataclass(frozen=True)
class Tally:
    """False verdicts of one kind of result."""

    calls: int
    true_out: int
    false_accepts: int
    false_rejects: int
    too_close: int
    simple_false_accepts: int
    worst_z: float
    covered: float


def tally(calls: Iterable[Called]) -> Tally:
    everything = list(calls)
    z = [abs(c.value - c.truth) / c.u for c in everything if c.u > 0.0]
    return Tally(
        calls=len(everything),
        true_out=sum(not c.truly_in for c in everything),
        false_accepts=sum(c.verdict == "in tolerance" and not c.truly_in for c in everything),
        false_rejects=sum(c.verdict == "out of tolerance" and c.truly_in for c in everything),
        too_close=sum(c.verdict == "too close to call" for c in everything),
        simple_false_accepts=sum(c.simply_in and not c.truly_in for c in everything),
        worst_z=max(z, default=0.0),
        covered=float(np.mean(np.array(z) <= 2.0)) if z else 1.0,
    )


def table(title: str, calls: Iterable[Called]) -> str:
    """The verdicts against the truth, as text."""
    everything = list(calls)
    lines = [
        title,
        f"  {'':<24}calls  truly out  false accept  false reject  too close  simple f.a.  "
        "|error|/u max  within 2u",
    ]
    for what in sorted({c.what for c in everything}):
        t = tally(c for c in everything if c.what == what)
        lines.append(
            f"  {what:<24}{t.calls:>5}{t.true_out:>11}{t.false_accepts:>14}{t.false_rejects:>14}"
            f"{t.too_close:>11}{t.simple_false_accepts:>13}{t.worst_z:>15.2f}{t.covered:>11.2f}"
        )
    return "\n".join(lines)


def check_calls(calls: Iterable[Called]) -> None:
    """Few verdicts are false, and the uncertainty explains each that is."""
    everything = list(calls)
    t = tally(everything)
    assert t.false_accepts < 0.025 * t.calls, t
    assert t.false_rejects < 0.025 * t.calls, t
    for call in everything:
        if call.verdict != "too close to call" and (call.verdict == "in tolerance") != (
            call.truly_in
        ):
            assert abs(call.value - call.truth) > 2.0 * call.u, call
            assert abs(call.value - call.truth) < 4.0 * call.u, call


def each(count: int, *, seed: int) -> list[np.random.Generator]:
    """`count` independent sources of noise."""
    return [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(count)]
