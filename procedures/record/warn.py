"""What whoever signs a record has to know first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from procedures.record.model import End, InstrumentLine
from procedures.record.note_blocks import printed
from procedures.record.pairing import summarise
from procedures.record.steps import Steps
from procedures.record.words import CUT_CHECKED

_SIMULATED: Final = (
    "SIMULATED: the station file has a [simulation] table; this is no record of a real facility."
)
_UNREADABLE: Final = "The station file's text in the log cannot be read by this version."
_UNFINISHED: Final = (
    "A control may have been turned without anything being captured: no outcome of the step"
)
_IDENTIFICATION: Final = "Identification"
"""Title of the note on the code that a transmitter sends; see its ``right``."""

_LOWEST_POINTS: Final = "Clearance, lowest points"
"""Title of the note on a wide traverse; its ``missing`` lists what was not read."""

_INTERRUPTIONS: Final = frozenset({"gap", "interrupted"})


def warnings_of(
    end: End,
    steps: Steps,
    instruments: Sequence[InstrumentLine],
    *,
    chain_fault: str,
    station_readable: bool,
    simulated: bool,
) -> tuple[str, ...]:
    """Return the warnings of a record, most important first.

    Parameters
    ----------
    chain_fault
        What the check of the log's chain found; empty when it holds.
    station_readable
        The station file's text in the log still describes a station to this program.
    simulated
        The station file has a table for the simulator, which a real station has not.
    """
    return (
        *(f"STILL OPEN: {hazard.rstrip('.')}." for hazard in end.open_hazards),
        *([f"THE LOG WAS CHANGED: {chain_fault}"] if chain_fault else []),
        *([_SIMULATED] if simulated else []),
        *([] if end.result == "finished" else _of_an_early_end(end, steps)),
        *_of_verdicts(steps),
        *_of_cuts(steps),
        *wrong_codes(steps),
        *_of_clearance(steps),
        *_of_instruments(instruments, steps),
        *_of_readings(steps),
        *([] if station_readable else [_UNREADABLE]),
    )


def _of_an_early_end(end: End, steps: Steps) -> Iterator[str]:
    yield f"The run did not finish ({end.result})."
    for key in steps.unfinished:
        yield f"{_UNFINISHED} '{key}'."


def _of_verdicts(steps: Steps) -> Iterator[str]:
    for line in summarise(steps.measured, steps.adjustments):
        last = line.left or line.found
        worst = last.worst if last else None
        if worst is not None and worst.verdict != "in tolerance":
            state = f", {line.variant}" if line.variant else ""
            yield f"'{line.point}'{state}: {worst.verdict} when last judged."
    recalled = sorted({v.source for v in steps.verdicts if "memory" in v.status})
    for source in recalled:
        yield f"A limit is from memory and was not read in its source: {source}."


def _of_cuts(steps: Steps) -> Iterator[str]:
    for note in steps.notes:
        if note.title == CUT_CHECKED and note.body.get("agrees") is False:
            said, fits = (printed(name, note.body.get(name)) for name in ("cut_m", "as_if_m"))
            yield (
                f"The phase after a cut of {said} was not what such a cut makes: it is as if "
                f"{fits} had been cut, or another line."
            )


def wrong_codes(steps: Steps) -> Iterator[str]:
    """Return which transmitters were last heard to send another code than the station's, in words.

    No limit is judged there, so that no verdict says it.
    """
    last = {note.key: note.body for note in steps.notes if note.title == _IDENTIFICATION}
    for key, body in last.items():
        if body.get("right") is False:
            sent = body.get("spelt") or "another code, as heard"
            yield f"The identification is NOT {body.get('wanted')}: {sent} ('{key}')."


def _of_clearance(steps: Steps) -> Iterator[str]:
    for note in steps.notes:
        missing = note.body.get("missing") if note.title == _LOWEST_POINTS else None
        if isinstance(missing, list | tuple):
            yield from (f"Clearance is NOT KNOWN: {words}." for words in missing)


def _of_instruments(instruments: Sequence[InstrumentLine], steps: Steps) -> Iterator[str]:
    for line in instruments:
        if line.overdue:
            yield f"The calibration of '{line.alias}' was due on {line.calibration_due}."
        elif not line.calibration_due:
            yield f"No calibration date is known for '{line.alias}'."
    for note in steps.notes:
        if "overridden" in note.title.lower():
            told = "; ".join(f"{name}: {value}" for name, value in note.body.items())
            yield f"{note.title}: {told}."


def _of_readings(steps: Steps) -> Iterator[str]:
    unsettled = sum(not line.measurement.steady for line in steps.measured)
    if unsettled:
        yield f"{unsettled} of {len(steps.measured)} measurements had not settled when taken."
    gaps = sum(event.what in _INTERRUPTIONS for event in steps.events)
    if gaps:
        yield f"An instrument failed {gaps} time{'s' if gaps > 1 else ''}; see the events."
