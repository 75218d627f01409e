"""Benches for the equipment's procedures, and what their verdicts came to against the plant."""

from __future__ import annotations

import re
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.station import Station, parse_station
from drivers.profiled import Place
from procedures.engine.runner import RunEnd
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import RATE_HZ, Demodulated, demodulate
from sim_instruments.signals import Timebase
from tests.support.in_process import DirectInstrument, InProcessBench
from tests.support.plants import STATION
from tests.support.steps import IN_ORDER

LIKE_MEMORY = Path("/dev/shm")
"""Where a log costs no disk; studies write hundreds of thousands of rows."""


@dataclass(frozen=True)
class Judged:
    """One verdict of a run."""

    key: str
    quantity: str
    value: float
    u: float
    low: float | None
    high: float | None
    verdict: str


@dataclass(frozen=True)
class Case:
    """One verdict against the plant's truth."""

    what: str
    verdict: str
    truth: float
    low: float
    high: float
    value: float
    u: float

    @property
    def is_in(self) -> bool:
        return self.low <= self.truth <= self.high

    @property
    def false_accept(self) -> bool:
        return self.verdict == "in tolerance" and not self.is_in

    @property
    def false_reject(self) -> bool:
        return self.verdict == "out of tolerance" and self.is_in

    @property
    def off_u(self) -> float:
        """Error of the measured value in its standard uncertainties."""
        return (self.value - self.truth) / self.u if self.u else float("inf")


def case(what: str, judged: Judged, truth: float) -> Case:
    """Pair a verdict with the truth."""
    low = -np.inf if judged.low is None else judged.low
    high = np.inf if judged.high is None else judged.high
    return Case(what, judged.verdict, truth, low, high, judged.value, judged.u)


def station_text(*changes: tuple[str, str]) -> str:
    """The demonstration's station file with pieces changed."""
    text = STATION.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after)
    return text


def without_tables(text: str, *headers: str) -> str:
    """Leave out every table whose header begins so: ``[alarms``, ``[[alarms``."""
    kept = [
        part
        for part in re.split(r"(?m)^(?=\[)", text)
        if not any(part.startswith(header) for header in headers)
    ]
    return "".join(kept)


def station_of(text: str) -> Station:
    return parse_station(text, STATION)


@contextmanager
def equipment_bench(
    plant: Mapping[str, object],
    *,
    text: str = "",
    long_records: bool = False,
    in_order: bool = True,
) -> Iterator[InProcessBench]:
    """A bench in order but for what is said; `long_records`: the detectors' own profile."""
    station = station_of(text or station_text())
    given = {
        **(IN_ORDER if in_order else {}),
        "if_level_spread": 0.0,
        "ident_suppressed": 0,
        **plant,
    }
    folder = LIKE_MEMORY if LIKE_MEMORY.is_dir() else None
    with tempfile.TemporaryDirectory(dir=folder) as place:
        log = Path(place) / "x.tblog"
        with InProcessBench.make(station, given, log=log) as made:
            if long_records:
                session = made.sim.device("fernmark-os4").session()
                where = Place("scope", "TCPIP::127.0.0.1::5025::SOCKET", made.clock, STATION.parent)
                made.instruments["scope"].close()
                made.instruments["scope"] = DirectInstrument(
                    "fernmark-os4-detector", where, session
                )
            yield made
            made.instruments["scope"].close()


def verdicts(made: InProcessBench, end: RunEnd) -> dict[str, Judged]:
    """Every verdict of a run by its key."""
    with LogReader(made.writer.path) as reader:
        rows = [(e.key, e.body["request"]) for e in reader.entries(run=end.run, kind=Kind.OUTCOME)]
    return {
        key: Judged(
            key, row["quantity"], row["value"], row["u"], row["low"], row["high"], row["verdict"]
        )
        for key, row in rows
        if isinstance(row, Mapping) and row["do"] == "judge"
    }


def notes(made: InProcessBench, end: RunEnd) -> dict[str, Mapping[str, object]]:
    """Every note of a run by its key."""
    with LogReader(made.writer.path) as reader:
        rows = [(e.key, e.body["request"]) for e in reader.entries(run=end.run, kind=Kind.OUTCOME)]
    return {k: row for k, row in rows if isinstance(row, Mapping) and row["do"] == "note"}


def seen_at(plant: Plant, point: str) -> Demodulated:
    """What an ideal receiver reads at a point now."""
    time = Timebase(plant.now_s(), RATE_HZ, round(RATE_HZ * 0.1))
    return demodulate(plant.field(point, time))


def table(title: str, cases: Iterable[Case]) -> str:
    """False accepts and false rejects, by what was judged, as text."""
    listed = list(cases)
    lines = [
        title,
        f"  {'':<28}{'judged':>7}{'in':>6}{'out':>6}{'close':>7}{'f.acc':>7}{'f.rej':>7}"
        f"{'|e|/u':>7}",
    ]
    for what in dict.fromkeys(each.what for each in listed):
        own = [each for each in listed if each.what == what]
        errors = [abs(each.off_u) for each in own if np.isfinite(each.off_u)]
        count = Counter(each.verdict for each in own)
        lines.append(
            f"  {what:<28}{len(own):>7}{count['in tolerance']:>6}{count['out of tolerance']:>6}"
            f"{count['too close to call']:>7}{sum(e.false_accept for e in own):>7}"
            f"{sum(e.false_reject for e in own):>7}"
            f"{(np.percentile(errors, 95) if errors else float('nan')):>7.2f}"
        )
    wrong = [each for each in listed if each.false_accept or each.false_reject]
    for each in wrong:
        kind = "accepted" if each.false_accept else "rejected"
        edge = min(abs(each.truth - each.low), abs(each.truth - each.high))
        lines.append(
            f"  wrongly {kind}: {each.what}, true {each.truth:.5g}, read {each.value:.5g}: "
            f"{edge / each.u if each.u else float('inf'):.2f} u from the limit, "
            f"error {each.off_u:+.2f} u"
        )
    return "\n".join(lines)
