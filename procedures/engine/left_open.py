"""What runs left behind that radiates false guidance, as far as the log says."""

from __future__ import annotations

from dataclasses import dataclass

from daq.log.entry import Kind
from daq.log.reader import LogReader, RunSummary
from procedures.catalogue import PROCEDURES
from procedures.engine.taking_up import held
from procedures.record.steps import read_steps


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """A run that left something open, in words; `resumable` when it can be gone on with."""

    run: int
    procedure: str
    hazards: tuple[str, ...]
    resumable: bool


def open_hazards(reader: LogReader, summary: RunSummary) -> tuple[str, ...]:
    """Return what a run left open; of one that has no end, what its last prompt reminded of.

    Raises
    ------
    LogDamaged
        A row of the run is not what this program writes.
    """
    if summary.ended is None:
        outcomes = list(reader.entries(run=summary.run, kind=Kind.OUTCOME))
        return tuple(hazard.rstrip(".") for hazard in read_steps(outcomes).standing_reminders)
    said = summary.ended.get("open_hazards")
    return tuple(str(hazard) for hazard in said) if isinstance(said, list) else ()


def is_resumable(summary: RunSummary) -> bool:
    """Whether a run can be gone on with: it was cut off, or ended so that it can be taken up."""
    known = summary.started.get("procedure") in PROCEDURES
    return known and (summary.ended is None or held(summary.ended) is not None)


def left_open(reader: LogReader) -> tuple[LeftOpen, ...]:
    """Return the runs that left something open since a procedure last finished in order.

    Raises
    ------
    LogDamaged
        As `open_hazards`.
    """
    found = []
    for number in reversed(reader.run_numbers()):
        summary = reader.run(number)
        hazards = open_hazards(reader, summary)
        procedure = str(summary.started.get("procedure", ""))
        if hazards:
            found.append(LeftOpen(number, procedure, hazards, is_resumable(summary)))
        elif procedure in PROCEDURES and (summary.ended or {}).get("result") == "finished":
            break
    return tuple(found)
