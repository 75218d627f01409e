"""The station book: one document over a period, with every parameter's trend up to its end.

It is set by the record's own template, so that the papers of a station look alike. A book of a
past period is made as of its last day and comes out the same whenever it is made.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from daq.clock import iso_utc
from daq.errors import InputError, LogDamaged
from daq.log.reader import LogReader, RunSummary
from daq.station import Station
from procedures.engine.run_started import PROGRAM_VERSION
from procedures.history.book_sections import Contents, sections, summary
from procedures.history.model import start_of
from procedures.history.references import all_versions, in_force
from procedures.history.trend import SAID, Attention, Trend, make_trends
from procedures.history.work_done import read_deeds
from procedures.record.atomic import replacing
from procedures.record.cells import moment
from procedures.record.typeset import typeset

STATEMENT: Final = (
    "This book states readings as the log holds them and trends computed from them. A trend is a "
    "forecast, not a measurement. Whether the facility is fit for service is decided by the "
    "responsible authority and by those it has licensed, not by this book."
)


@dataclass(frozen=True, slots=True)
class Period:
    """From the first to the last day, both included (UTC)."""

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise InputError(f"The period ends on {self.last}, before it begins on {self.first}.")

    @property
    def begin_utc_ns(self) -> int:
        """Its first moment, ns."""
        return start_of(self.first)

    @property
    def end_utc_ns(self) -> int:
        """The first moment after it, ns."""
        return start_of(self.last + timedelta(days=1))

    def __str__(self) -> str:
        return f"{self.first} to {self.last}"


def write_book(
    reader: LogReader, station: Station, period: Period, path: Path, *, now_utc_ns: int
) -> None:
    """Write the book of a period to `path`, whole or not at all.

    Raises
    ------
    InputError
        No run was begun in that period.
    LogDamaged
        A row is not what this program writes.
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    as_of_ns = min(period.end_utc_ns, now_utc_ns)
    contents = _contents(reader, station, period, as_of_ns)
    data = _data(contents, period, as_of_ns)
    content = typeset(data, f"The station book {period}", utc_ns=as_of_ns)
    with replacing(path) as file:
        file.write(content)


def _contents(reader: LogReader, station: Station, period: Period, as_of_ns: int) -> Contents:
    runs = tuple(run for run in reader.runs() if _within(run, period))
    if not runs:
        raise InputError(
            f"No run was begun in the period {period}.", hint="`trimbench runs` lists the runs."
        )
    trends = make_trends(reader, station, as_of_ns, before_utc_ns=period.end_utc_ns)
    deeds = (
        deed
        for deed in read_deeds(reader)
        if period.begin_utc_ns <= deed.utc_ns < period.end_utc_ns and deed.kind != "run"
    )
    return Contents(
        station=station,
        runs=runs,
        trends=trends,
        deeds=tuple(deeds),
        references=in_force(all_versions(reader), as_of_ns),
        chain_fault=_chain_fault(reader),
    )


def _within(run: RunSummary, period: Period) -> bool:
    return period.begin_utc_ns <= run.started_utc_ns < period.end_utc_ns


def _data(contents: Contents, period: Period, as_of_ns: int) -> dict[str, object]:
    station = contents.station.station
    digest = contents.runs[-1].digest
    pressing = [trend for trend in contents.trends if trend.attention < Attention.DRIFTS]
    return {
        "title": "Station book",
        "subtitle": str(period),
        "footer": f"Station book {period}, {station.ident} {station.name}"[:80],
        "digest": digest,
        "facts": _facts(contents, as_of_ns),
        "result": f"{len(pressing)} of {len(contents.trends)} parameters need attention",
        "message": "",
        "warnings": list(_warnings(contents, pressing)),
        "summary": summary(contents),
        "no_summary": "No parameter was measured as found up to the end of this period.",
        "explanation": (
            "Newest: what the last run left, mean ± expanded uncertainty, k = 2. Drift and dates: "
            "95 per cent intervals of what the instruments read on average. Most urgent first."
        ),
        "statement": STATEMENT,
        "sections": [section for section in sections(contents) if section["blocks"]],
        "signatures": ["Compiled by", "Checked by", "Accepted for the facility by"],
        "signed": (
            f"Signed for the station book {period}; digest of its last run's last row "
            f"{digest[:16]}…"
        ),
    }


def _facts(contents: Contents, as_of_ns: int) -> list[list[str]]:
    station = contents.station.station
    runs = contents.runs
    finished = sum((run.ended or {}).get("result") == "finished" for run in runs)
    fixed = contents.references
    return [
        [
            "Facility",
            f"{station.name}, runway {station.runway}, localizer {station.ident}, "
            f"{station.frequency_hz / 1e6:g} MHz, category {station.category}",
        ],
        ["As of", moment(as_of_ns)],
        ["Runs", f"{len(runs)}, {finished} of them finished"],
        [
            "References",
            "none fixed"
            if fixed is None
            else f"version {fixed.version}, from run {fixed.run}, fixed "
            f"{iso_utc(fixed.fixed_utc_ns)[:10]} by {fixed.signed_by}",
        ],
        ["Program", f"trimbench {PROGRAM_VERSION}"],
    ]


def _warnings(contents: Contents, pressing: Iterable[Trend]) -> Iterable[str]:
    if contents.chain_fault:
        yield f"THE LOG WAS CHANGED: {contents.chain_fault}"
    for run in contents.runs:
        hazards = (run.ended or {}).get("open_hazards")
        for hazard in hazards if isinstance(hazards, list) else []:
            yield f"STILL OPEN after run {run.run}: {str(hazard).rstrip('.')}."
    for trend in pressing:
        yield f"'{trend.parameter.name}': {SAID[trend.attention]}."


def _chain_fault(reader: LogReader) -> str:
    try:
        reader.verify()
    except LogDamaged as error:
        return error.message
    return ""
