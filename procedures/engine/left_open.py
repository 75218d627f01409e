"""What runs left behind that radiates false guidance, as far as the log says."""

from __future__ import annotations

from dataclasses import dataclass

from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader, RunSummary
from procedures.catalogue import PROCEDURES
from procedures.engine.taking_up import TAKE_UP, ending_of
from procedures.record.steps import read_steps

_HAPPENED = (Kind.OUTCOME, Kind.EVENT, Kind.RUN_ENDED)


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """A run that left something open, in words; `resumable` when it can be gone on with."""

    run: int
    procedure: str
    hazards: tuple[str, ...]
    resumable: bool


def happened(reader: LogReader, run: int) -> list[Entry]:
    """Return everything in a run but its beginning and its readings, in order."""
    rows = (entry for kind in _HAPPENED for entry in reader.entries(run=run, kind=kind))
    return sorted(rows, key=lambda entry: entry.seq)


def open_hazards(reader: LogReader, summary: RunSummary) -> tuple[str, ...]:
    """Return what a run left open; of one that has no end, what had begun and not ended.

    Raises
    ------
    LogDamaged
        A row of the run is not what this program writes.
    """
    if summary.ended is None:
        standing = read_steps(happened(reader, summary.run)).standing_reminders
        return tuple(hazard.rstrip(".") for hazard in standing)
    said = summary.ended.get("open_hazards")
    return tuple(str(hazard) for hazard in said) if isinstance(said, list) else ()


def is_resumable(reader: LogReader, summary: RunSummary) -> bool:
    """Whether a run can be gone on with: it was cut off, or ended so that it can be taken up."""
    if summary.started.get("procedure") not in PROCEDURES:
        return False
    # The end itself may have been cut off, after it was said what it is to be.
    said = summary.ended if summary.ended is not None else ending_of(happened(reader, summary.run))
    return said is None or TAKE_UP in said


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
            goes_on = is_resumable(reader, summary)
            found.append(LeftOpen(number, procedure, hazards, goes_on))
        elif procedure in PROCEDURES and (summary.ended or {}).get("result") == "finished":
            break
    return tuple(found)
