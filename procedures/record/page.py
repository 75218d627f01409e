"""The record as data for the template: which tables, which words, in which order.

Everything here is text that is already rounded and worded; `record.typ` only sets it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from procedures.record.cells import Block, Cell, limit_words, moment, table, value_cell
from procedures.record.figures import COVERAGE
from procedures.record.judged import (
    REVERSED,
    UNPROVEN,
    found_reversed,
    how_judged,
    is_unproven,
)
from procedures.record.model import FoundLeft, Header, Measured, NoteLine, Record, Verdict
from procedures.record.sections import sections

STATEMENT: Final = (
    "This record states readings and settings as the instruments and the technician gave them. "
    "Whether the facility is fit for service is decided by the responsible authority and by those "
    "it has licensed, not by this record."
)
SIGNATURES: Final = (
    "Measured and adjusted by",
    "Checked by",
    "Accepted for the facility by",
)
_FOOTER_CHARACTERS: Final = 60


def page_data(record: Record) -> dict[str, object]:
    """Return what the template sets; every text fit to print (`visible`), drawings untouched."""
    header = record.header
    return {
        "title": f"Record of run {header.run}",
        "subtitle": header.procedure.replace("-", " "),
        "footer": _footer(header),
        "digest": record.digest,
        "facts": _facts(record),
        "result": record.end.result,
        "message": _message(record),
        "warnings": list(record.warnings),
        "summary": _summary(record),
        "no_summary": (
            f"No measurement was averaged or judged in this run; it has {record.reading_count} "
            "readings."
        ),
        "explanation": (
            f"Values are mean ± expanded uncertainty, k = {COVERAGE:g}; below a DDM stand the "
            "tone that predominates and the deviation current. As found and as left are the first "
            "and the last measurement of a point in the same state."
        ),
        "statement": STATEMENT,
        "sections": sections(record),
        "signatures": list(SIGNATURES),
        "signed": (
            f"Signed for run {header.run} of {header.procedure}, {moment(header.started_utc_ns)}, "
            f"{record.end.result}; digest of its last row {record.digest[:16]}…"
        ),
    }


def _footer(header: Header) -> str:
    place = f"{header.ident} {header.station}".strip()[:_FOOTER_CHARACTERS]
    return f"Run {header.run}, {place}" if place else f"Run {header.run}"


def _facts(record: Record) -> list[list[str]]:
    header = record.header
    seconds = round((header.last_utc_ns - header.started_utc_ns) / 1e9)
    frequency = "" if header.frequency_hz is None else f"{header.frequency_hz / 1e6:g} MHz"
    where = [
        header.station,
        f"runway {header.runway}" if header.runway else "",
        f"localizer {header.ident}" if header.ident else "",
        frequency,
        f"category {header.category}" if header.category else "",
    ]
    return [
        ["Facility", ", ".join(part for part in where if part) or "not readable in the log"],
        ["Procedure", f"{header.procedure}, version {header.procedure_version}"],
        ["Begun", moment(header.started_utc_ns)],
        ["Last entry", f"{moment(header.last_utc_ns)}, {_later(seconds)}"],
        ["Carried out by", header.operator],
        ["Program", f"trimbench {header.program_version}"],
    ]


def _later(seconds: int) -> str:
    if seconds < 0:
        return "the calendar clock was set back meanwhile"
    minutes, rest = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min later"
    return f"{minutes} min {rest} s later" if minutes else f"{rest} s later"


def _message(record: Record) -> str:
    return f"{record.end.message} {how_judged(record)}".strip()


def _summary(record: Record) -> Block:
    return table(
        ["Point", ">Limit", ">As found", "Verdict", ">As left", "Verdict"],
        ["1", "auto", "auto", "auto", "auto", "auto"],
        [_summary_row(line, record.notes) for line in record.summary],
    )


def _summary_row(line: FoundLeft, notes: Sequence[NoteLine]) -> list[Cell]:
    judged = [m.worst for m in (line.left, line.found) if m is not None and m.worst is not None]
    unchanged: list[Cell] = ["not read again", ""]
    reversed_note = REVERSED if found_reversed(line, notes) else ""
    return [
        {"text": line.point, "note": line.variant},
        _limit_cell(judged[0]) if judged else "",
        *(_value_and_verdict(line.found, reversed_note) if line.found else ["", ""]),
        *(_value_and_verdict(line.left) if line.left else unchanged),
    ]


def _limit_cell(verdict: Verdict) -> Cell:
    return {"text": limit_words(verdict), "note": UNPROVEN if is_unproven(verdict) else ""}


def _value_and_verdict(line: Measured, note: str = "") -> list[Cell]:
    value, worst = line.measurement, line.worst
    said = {"verdict": worst.verdict} if worst else {"text": "not judged"}
    return [value_cell(value.quantity, value.value, value.u), {**said, "note": note}]
