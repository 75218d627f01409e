"""What stands in the station book, section by section, for the record's template."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from daq.clock import iso_utc
from daq.log.reader import RunSummary
from daq.station import Station
from procedures.history.plot import trend_picture
from procedures.history.references import ReferenceSet
from procedures.history.trend import SAID, Trend
from procedures.history.trend_words import (
    EXPLANATION,
    difference_words,
    drift_words,
    leaves_words,
    limit_words,
    newest_words,
    remarks,
)
from procedures.history.work_done import Deed
from procedures.record.cells import Block, Cell, table
from procedures.record.collect import CUT_OFF

LEGEND = (
    "Thick lines: the limits. Dashed: the reference value. Dots: as found; triangles: as left "
    "after an adjustment; crosses: left out as standing apart. Thin line and grey: the fit and "
    "its 95 per cent band. Dotted upright: a step."
)


@dataclass(frozen=True, slots=True)
class Contents:
    """What a book is made from.

    Attributes
    ----------
    runs
        Those begun in the period.
    trends
        Up to its end, most urgent first.
    deeds
        What was done in it; the runs themselves left out.
    references
        In force at its end.
    chain_fault
        What the check of the log found; empty when the chain holds.
    """

    station: Station
    runs: tuple[RunSummary, ...]
    trends: tuple[Trend, ...]
    deeds: tuple[Deed, ...]
    references: ReferenceSet | None
    chain_fault: str


def summary(contents: Contents) -> Block:
    """Return the table of all parameters, most urgent first."""
    rows: list[list[Cell]] = [
        [
            {"text": trend.parameter.name, "note": SAID[trend.attention]},
            {"text": newest_words(trend), "note": limit_words(trend)},
            difference_words(trend),
            drift_words(trend),
            leaves_words(trend.leaves),
        ]
        for trend in contents.trends
    ]
    columns = ["Parameter", ">Newest, limit", ">From reference", ">Drift a year", "Leaves limits"]
    return table(columns, ["3", "auto", "auto", "auto", "3"], rows)


def sections(contents: Contents) -> list[dict[str, object]]:
    """Return all sections in order; one without blocks is left out by the caller."""
    return [
        {"title": "Trends", "blocks": list(_trends(contents.trends))},
        {"title": "What was done in this period", "blocks": list(_deeds(contents.deeds))},
        {"title": "Reference values in force", "blocks": list(_references(contents.references))},
        {"title": "Runs in this period", "blocks": [_runs(contents.runs)]},
        {"title": "Where this book comes from", "blocks": [_origin(contents)]},
    ]


def _trends(trends: Iterable[Trend]) -> Iterable[Block]:
    drawn = False
    for trend in trends:
        if trend.drift is None:
            continue
        if not drawn:
            yield {"kind": "text", "text": LEGEND}
            yield {"kind": "text", "text": "; ".join(EXPLANATION) + "."}
            drawn = True
        said = [
            f"{SAID[trend.attention]}; drift {drift_words(trend)} a year",
            *([f"leaves limits: {leaves_words(trend.leaves)}"] if trend.leaves else []),
            *remarks(trend),
        ]
        yield {
            "kind": "figure",
            "title": trend.parameter.name,
            "caption": "; ".join(said) + ".",
            "svg": trend_picture(trend).decode("utf-8"),
        }


def _deeds(deeds: tuple[Deed, ...]) -> Iterable[Block]:
    rows: list[list[Cell]] = [
        [iso_utc(deed.utc_ns)[:16].replace("T", " "), str(deed.run), deed.kind, deed.what]
        for deed in deeds
    ]
    if rows:
        yield table(["UTC", ">Run", "Kind", "What"], ["auto", "auto", "auto", "1"], rows)


def _references(fixed: ReferenceSet | None) -> Iterable[Block]:
    if fixed is None:
        return
    rows: list[list[Cell]] = [[name, str(reference)] for name, reference in fixed.values.items()]
    yield table(["Parameter", ">Reference value"], ["1", "1"], rows)


def _runs(runs: Iterable[RunSummary]) -> Block:
    rows: list[list[Cell]] = [
        [
            str(run.run),
            iso_utc(run.started_utc_ns)[:16].replace("T", " "),
            str(run.started.get("procedure", "")),
            CUT_OFF if run.ended is None else str(run.ended.get("result", "")),
            {"text": run.digest[:16]},
        ]
        for run in runs
    ]
    columns = [">Run", "Begun, UTC", "Procedure", "Result", "Digest of its last row"]
    return table(columns, ["auto", "auto", "3", "2", "3"], rows)


def _origin(contents: Contents) -> Block:
    chain = "DOES NOT HOLD" if contents.chain_fault else "holds"
    pairs = [
        ["Chain of digests", f"{chain}, checked over the whole log when this was made"],
        ["Digest of the last row of the last run", contents.runs[-1].digest],
        ["Digest of the station file", contents.station.digest],
    ]
    return {"kind": "pairs", "title": "", "pairs": pairs}
