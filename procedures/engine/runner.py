"""Begin a run, resume one that was cut off, and end it in good order.

A run ends as ``finished``, ``refused`` or ``aborted``. One that was cut off (a kill, a power cut,
an instrument that could not be mended, Ctrl-C) has no end in the log and can be resumed; so can one
that the technician stopped or refused by an answer (`procedures.engine.taking_up`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from daq.clock import Clock
from daq.errors import Aborted, BenchError, InputError, JournalMismatch, Refused
from daq.journal import Journal
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.roles import Instrument, Operator
from daq.station import Station
from procedures.catalogue import PROCEDURES, Procedure, procedure
from procedures.engine.bench import Bench
from procedures.engine.going_on import earlier_of, take_up
from procedures.engine.left_open import left_open
from procedures.engine.put_back import put_back, say_cut_off
from procedures.engine.resume_checks import check_same
from procedures.engine.run_started import started_body
from procedures.engine.taking_up import (
    ENDING,
    NOT_TAKEN_UP,
    TakeUp,
    refused_at,
    stopped_at,
)
from procedures.history.references import ReferenceSet, current, standing_in

Result = Literal["finished", "refused", "aborted"]


@dataclass(frozen=True, slots=True)
class RunEnd:
    """How a run ended.

    Attributes
    ----------
    run
        Its number.
    result
        ``finished``, ``refused`` or ``aborted``.
    message
        Why, when it did not finish.
    open_hazards
        What is still in a state that radiates false guidance, as far as anybody confirmed.
    digest
        Digest of its last row, hex.
    resumable
        It can be taken up again.
    """

    run: int
    result: Result
    message: str
    open_hazards: tuple[str, ...]
    digest: str
    resumable: bool = False


class CutOff(KeyboardInterrupt):
    """Ctrl-C came in the middle of a run.

    Attributes
    ----------
    run
        Its number.
    open_hazards
        What is still in a state that radiates false guidance.
    resumable
        It can be gone on with.
    """

    def __init__(self, run: int, open_hazards: tuple[str, ...], *, resumable: bool = True) -> None:
        super().__init__(f"run {run} was cut off")
        self.run = run
        self.open_hazards = open_hazards
        self.resumable = resumable


@dataclass(frozen=True, slots=True)
class Crew:
    """Who and what takes part in a run: instruments, operator, clock and log."""

    instruments: Mapping[str, Instrument]
    operator: Operator
    clock: Clock
    writer: LogWriter


def begin(name: str, station: Station, crew: Crew) -> RunEnd:
    """Run a procedure from its beginning.

    Raises
    ------
    InputError
        There is no such procedure.
    BenchError
        An instrument failed and was not mended; the run can be resumed.
    LogError
        The log could not be written; the run can be resumed once it can.
    """
    chosen = procedure(name)
    # Looked up before anything is written: a log that cannot be read back begins no run.
    references = standing_in(crew.writer.path, crew.clock.utc_ns())
    _say_left_open(crew)
    run = crew.writer.next_run()
    body = started_body(
        chosen.name,
        chosen.version,
        station,
        tuple(crew.instruments.values()),
        operator=crew.operator.name,
    )
    crew.writer.append(run, Kind.RUN_STARTED, chosen.name, body)
    return _work(chosen, station, crew, Journal(crew.writer, run), references)


def resume(run: int, station: Station, crew: Crew) -> RunEnd:
    """Go on with a run that was cut off, or take up one that was stopped or refused by an answer.

    Raises
    ------
    InputError
        There is no such run, or it has ended for good.
    Refused
        A later run changed the station, or something was not put back and still stands.
    JournalMismatch
        The procedure or the station file is another one now; names the first difference.
    IdentityError
        Another instrument answers than the run began with.
    BenchError, LogError
        As `begin`.
    """
    with LogReader(crew.writer.path) as reader:
        earlier = earlier_of(reader, run)
        # What is shown stays what it was when the run began.
        references = current(reader, earlier.summary.started_utc_ns)
    started = earlier.summary.started
    chosen = _procedure_of(run, started)
    check_same(run, started, chosen, station, crew.instruments)
    try:
        take_up(crew.operator, crew.writer, earlier)
    except KeyboardInterrupt as stop:
        raise CutOff(run, earlier.open_hazards) from stop
    journal = earlier.go_on(crew.writer)
    return _work(chosen, station, crew, journal, references)


def _say_left_open(crew: Crew) -> None:
    """Say before a run what an earlier one left in a state that radiates false guidance."""
    with LogReader(crew.writer.path) as reader:
        earlier = left_open(reader)
    for run in earlier:
        go_on = f", or go on with it: `trimbench resume {run.run}`" if run.resumable else ""
        for hazard in run.hazards:
            crew.operator.tell(
                f"CAUTION: run {run.run} ({run.procedure}) left this behind, and nobody confirmed "
                f"that it was put back: {hazard}. See that it is normal before you begin{go_on}."
            )


def _procedure_of(run: int, started: Body) -> Procedure:
    name = str(started["procedure"])
    if name not in PROCEDURES:
        raise InputError(
            f"Run {run} is '{name}', which is no procedure of this trimbench and cannot be "
            "resumed; its readings are in the log.",
            hint=f"`trimbench record {run}` makes its record.",
        )
    return procedure(name)


def began_with(log_path: Path, run: int) -> frozenset[str]:
    """Return the aliases of the instruments that a run began with.

    Raises
    ------
    InputError
        There is no such log or run, or it has ended for good.
    Refused
        A later run changed the station.
    """
    with LogReader(log_path) as reader:
        began = earlier_of(reader, run).summary.started["instruments"]
    return (
        frozenset(str(each["alias"]) for each in began) if isinstance(began, list) else frozenset()
    )


def times_ended(log_path: Path, run: int) -> int:
    """Return how often a run was ended so far: it may have been taken up in between."""
    with LogReader(log_path) as reader:
        return sum(1 for _ in reader.entries(run=run, kind=Kind.RUN_ENDED))


def _work(
    chosen: Procedure,
    station: Station,
    crew: Crew,
    journal: Journal,
    references: ReferenceSet | None,
) -> RunEnd:
    bench = Bench(
        station, crew.instruments, crew.operator, crew.clock, journal, references=references
    )
    with _cut_off_told(bench):
        stop = _stopped(chosen, bench)
    if stop is None:
        return _end(bench, "finished", "")
    with _cut_off_told(bench, resumable=stop.take_up.holds is not None):
        # On the disk before anything is put back: what is put back holds no more from here on.
        said = {"event": ENDING, "result": stop.result, "message": stop.message}
        journal.event("ending", {**said, **stop.take_up.to_body()})
        put_back(bench)
    return _end(bench, stop.result, stop.message, stop.take_up)


@dataclass(frozen=True, slots=True)
class _Stop:
    """Why the work was stopped, and how it can be taken up."""

    result: Result
    message: str
    take_up: TakeUp


@contextmanager
def _cut_off_told(bench: Bench, *, resumable: bool = True) -> Iterator[None]:
    """Say what is open and how to go on when the run is cut off within the block."""
    try:
        yield
    except KeyboardInterrupt as stop:
        say_cut_off(bench, resumable=resumable)
        open_hazards = tuple(hazard.what for hazard in bench.hazards.values())
        raise CutOff(bench.journal.run, open_hazards, resumable=resumable) from stop
    except BaseException:
        say_cut_off(bench, resumable=resumable)
        raise


def _stopped(chosen: Procedure, bench: Bench) -> _Stop | None:
    """Do the work; return why it was stopped, None when it was done to its end."""
    journal, hazards = bench.journal, bench.hazards.values()
    try:
        chosen.work(bench)
    except Refused as refusal:
        return _Stop("refused", str(refusal), refused_at(bench.trail, hazards, journal.deeds))
    except Aborted as stop:
        return _Stop("aborted", stop.message, stopped_at(bench.trail, hazards, journal.deeds))
    except BenchError as error:
        journal.event("interrupted", {"event": "interrupted", "error": error.details()})
        raise
    if journal.replaying:
        raise JournalMismatch(f"Run {journal.run} holds more steps than the procedure has.")
    return None


def _end(bench: Bench, result: Result, message: str, take_up: TakeUp = NOT_TAKEN_UP) -> RunEnd:
    hazards = tuple(hazard.what for hazard in bench.hazards.values())
    body: dict[str, object] = {
        "result": result,
        "message": message,
        "open_hazards": list(hazards),
        **take_up.to_body(),
    }
    journal = bench.journal
    entry: Entry = journal.writer.append(journal.run, Kind.RUN_ENDED, result, body)
    resumable = take_up.holds is not None
    return RunEnd(journal.run, result, message, hazards, entry.digest.hex(), resumable=resumable)
