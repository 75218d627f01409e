"""What whoever fixes reference values has to know of the run that they come from."""

from __future__ import annotations

from typing import Final

from daq.log.reader import LogReader, RunSummary

BASELINE: Final = "baseline"
"""Part of the names of the procedures that bring a station to where it is meant to be."""


def remarks_on(reader: LogReader, run: int) -> tuple[str, ...]:
    """Return what whoever fixes a run's values has to know first; nothing of the usual case.

    Raises
    ------
    InputError
        There is no such run.
    """
    procedure = _procedure(reader.run(run))
    remarks = []
    if BASELINE not in procedure:
        remarks.append(
            f"run {run} is no baseline but '{procedure}': its values become the reference as that "
            "work left them."
        )
    later = [
        number
        for number in reader.run_numbers()
        if number > run and _is_finished(reader.run(number), procedure)
    ]
    if later:
        remarks.append(
            f"run {run} is not the newest '{procedure}' that finished; run {later[-1]} is."
        )
    return tuple(remarks)


def _is_finished(summary: RunSummary, procedure: str) -> bool:
    ended = summary.ended or {}
    return _procedure(summary) == procedure and ended.get("result") == "finished"


def _procedure(summary: RunSummary) -> str:
    return str(summary.started.get("procedure", ""))
