"""Cells, tables and words that every part of the record is set from.

A cell is a text, or an object with `text`, a small `note` under it, or a `verdict` that is set
apart; a block is what `record.typ` knows to set.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from daq.clock import iso_utc
from procedures.record.figures import interval, remark, unit_of, with_uncertainty
from procedures.record.model import Verdict

Cell = str | dict[str, str]
Block = dict[str, object]


def table(columns: Sequence[str], widths: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Block:
    """Return a table; a column whose name begins with ``>`` is set to the right.

    Parameters
    ----------
    widths
        One a column: ``auto``, or a share of the remaining width such as ``2``.
    """
    return {
        "kind": "table",
        "columns": [name.removeprefix(">") for name in columns],
        "right": [name.startswith(">") for name in columns],
        "widths": list(widths),
        "rows": [list(row) for row in rows],
    }


def value_cell(quantity: str, value: float, u: float) -> Cell:
    """Return a value with its expanded uncertainty and unit; `u` is the standard one."""
    text = f"{with_uncertainty(quantity, value, u)} {unit_of(quantity)}".strip()
    return {"text": text, "note": remark(quantity, value)}


def limit_words(verdict: Verdict) -> str:
    """Return what a value was judged against, with its unit."""
    words = interval(verdict.quantity, verdict.low, verdict.high)
    return f"{words} {unit_of(verdict.quantity)}".strip()


def moment(utc_ns: int) -> str:
    """Return a moment to the second: ``2027-01-15 08:00:00 UTC``."""
    return iso_utc(utc_ns)[:19].replace("T", " ") + " UTC"
