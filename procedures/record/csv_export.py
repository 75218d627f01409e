r"""All readings of a run as CSV (RFC 4180, UTF-8), safe to open in a spreadsheet.

Columns, in this order:

=================  ==============================================================================
seq                row number in the log
run                number of the run
step               step of the procedure
time_utc           end of the query, ISO 8601, UTC: ``2027-01-15T08:00:00.000Z``
mono_ns            the same by the monotonic clock, ns; for durations
quantity           such as ``ddm``
point              test point
value              SI; empty where the instrument gave none
unit               SI unit of `value` and `u`; ``1`` for ratios
u                  standard uncertainty of one reading by the instrument's specification
source             alias of the instrument
quality            ``ok``, or why the value may not be judged
raw                the instrument's answer
=================  ==============================================================================

and, where reference values were in force by the end of the run:

=================  ==============================================================================
reference          of the same point in the same state, in force then; empty without one
reference_version  of the set that it is of
difference         `value` less `reference`
difference_u       standard uncertainty of that, both taken as independent
=================  ==============================================================================

Numbers are written so that they read back exactly. A text that a spreadsheet could take for a
formula gets an apostrophe in front (CSV injection, as OWASP describes it, from memory); the log
has it as it came.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from daq.clock import iso_utc
from daq.journal import finite
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from procedures.history.references import Difference
from procedures.record import rows
from procedures.record.atomic import replacing
from procedures.record.differences import ReadingsCompared

COLUMNS: Final = (
    "seq",
    "run",
    "step",
    "time_utc",
    "mono_ns",
    "quantity",
    "point",
    "value",
    "unit",
    "u",
    "source",
    "quality",
    "raw",
)
"""What is written of every reading."""

COMPARED_COLUMNS: Final = ("reference", "reference_version", "difference", "difference_u")
"""What is written besides where reference values were in force."""

_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Cell = str | int | float | None


def write_csv(reader: LogReader, run: int, path: Path) -> None:
    """Write the readings of a run to `path`, whole or not at all.

    Raises
    ------
    InputError
        There is no such run.
    LogDamaged
        A reading's row is not what this program writes.
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    compared = ReadingsCompared.of(reader, run)
    with replacing(path) as file:
        wrapper = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
        # Everything but numbers is quoted, so no separator inside a text opens a new cell.
        writer = csv.writer(wrapper, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
        writer.writerow((*COLUMNS, *COMPARED_COLUMNS) if compared.versions else COLUMNS)
        writer.writerows(_lines(reader.entries(run=run, kind=Kind.READING), compared))
        wrapper.detach()


def spreadsheet_safe(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula.

    Blanks in front do not hide a formula: some programs trim them.
    """
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA_STARTS) else text


def _lines(entries: Iterable[Entry], compared: ReadingsCompared) -> Iterable[tuple[Cell, ...]]:
    for entry in entries:
        with rows.told(entry):
            beside = _beside(compared.difference(entry)) if compared.versions else ()
            yield (*_line(entry), *beside)


def _beside(less: Difference | None) -> tuple[Cell, ...]:
    if less is None:
        return (None, None, None, None)
    return (less.reference.value, less.version, less.value, finite(less.u))


def _line(entry: Entry) -> tuple[Cell, ...]:
    def said(name: str) -> str:
        return spreadsheet_safe(rows.text(entry.body, name))

    return (
        entry.seq,
        entry.run,
        spreadsheet_safe(entry.key),
        iso_utc(entry.utc_ns),
        entry.mono_ns,
        said("quantity"),
        said("point"),
        rows.number_or_none(entry.body, "value"),
        said("unit"),
        rows.number_or_none(entry.body, "u"),
        said("source"),
        said("quality"),
        said("raw"),
    )
