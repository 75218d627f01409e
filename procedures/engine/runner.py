"""Begin a run, resume one that was cut off, and end it in good order.

A run ends as ``finished``, ``refused`` or ``aborted``. One that was cut off (a kill, a power cut,
an instrument that could not be mended, Ctrl-C) has no end in the log and can be resumed; so can one
that the technician stopped or refused by an answer (`procedures.engine.taking_up`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from daq.clock import Clock
from daq.errors import Aborted, BenchError, InputError, JournalMismatch, Refused
from daq.journal import RESUMED, Journal, recorded_outcomes
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.roles import Instrument, Operator
from daq.station import Station
from procedures.catalogue import PROCEDURES, Procedure, procedure
from procedures.engine.bench import Bench
from procedures.engine.left_open import left_open
from procedures.engine.put_back import put_back, say_cut_off
from procedures.engine.resume_checks import check_same
from procedures.engine.run_started import started_body
from procedures.engine.taking_up import TAKE_UP, held, refused_at, stopped_at
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
    """

    def __init__(self, run: int, open_hazards: tuple[str, ...]) -> None:
        super().__init__(f"run {run} was cut off")
        self.run = run
        self.open_hazards = open_hazards


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
    JournalMismatch
        The procedure or the station file is another one now; names the first difference.
    IdentityError
        Another instrument answers than the run began with.
    BenchError, LogError
        As `begin`.
    """
    with LogReader(crew.writer.path) as reader:
        summary = reader.run(run)
        rows = sorted(
            (
                *reader.entries(run=run, kind=Kind.OUTCOME),
                *reader.entries(run=run, kind=Kind.EVENT),
            ),
            key=lambda entry: entry.seq,
        )
        # What is shown stays what it was when the run began.
        references = current(reader, summary.started_utc_ns)
    recorded = recorded_outcomes(rows)
    chosen = _procedure_of(run, summary.started)
    holds = _holds(run, summary.ended, len(recorded))
    check_same(run, summary.started, chosen, station, crew.instruments)
    journal = Journal(crew.writer, run, recorded[:holds])
    journal.event(RESUMED, {"event": RESUMED, "outcomes": holds})
    if summary.ended is not None:
        _say_taken_up(crew.operator, summary.ended, set_anew=recorded[holds:])
    return _work(chosen, station, crew, journal, references)


def _holds(run: int, ended: Body | None, recorded: int) -> int:
    """Return how many of the recorded outcomes hold, once it is seen that the run can go on."""
    if ended is None:
        return recorded
    holds = held(ended)
    if holds is None:
        raise InputError(
            f"Run {run} has ended ({ended.get('result')}); there is nothing to resume.",
            hint="`trimbench run` begins a new one.",
        )
    return holds


def _say_taken_up(operator: Operator, ended: Body, *, set_anew: Sequence[Entry]) -> None:
    hazards = ended.get("open_hazards")
    for hazard in hazards if isinstance(hazards, list) else []:
        operator.tell(
            f"CAUTION: when the run ended it was not confirmed that this was put back: {hazard}. "
            "See that it is normal before you go on; it is set anew."
        )
    if set_anew:
        operator.tell(f"The run is taken up at '{set_anew[0].key}'; what came after is done anew.")
    operator.tell("Everything else is taken to be connected and set as it was when the run ended.")


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
    """
    with LogReader(log_path) as reader:
        summary = reader.run(run)
    _holds(run, summary.ended, 0)
    began = summary.started["instruments"]
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
    try:
        _do(chosen, bench)
    except Refused as refusal:
        holds = refused_at(bench.trail, bench.hazards.values(), journal.done)
        put_back(bench)
        return _end(bench, "refused", str(refusal), holds)
    except Aborted as stop:
        holds = stopped_at(bench.trail, bench.hazards.values(), journal.done)
        put_back(bench)
        return _end(bench, "aborted", stop.message, holds)
    except BenchError as error:
        journal.event("interrupted", {"event": "interrupted", "error": error.details()})
        say_cut_off(bench)
        raise
    except KeyboardInterrupt as stop:
        say_cut_off(bench)
        open_hazards = tuple(hazard.what for hazard in bench.hazards.values())
        raise CutOff(journal.run, open_hazards) from stop
    except BaseException:
        say_cut_off(bench)
        raise
    return _end(bench, "finished", "")


def _do(chosen: Procedure, bench: Bench) -> None:
    chosen.work(bench)
    if bench.journal.replaying:
        raise JournalMismatch(f"Run {bench.journal.run} holds more steps than the procedure has.")


def _end(bench: Bench, result: Result, message: str, holds: int | None = None) -> RunEnd:
    hazards = tuple(hazard.what for hazard in bench.hazards.values())
    body: dict[str, object] = {
        "result": result,
        "message": message,
        "open_hazards": list(hazards),
    }
    if holds is not None:
        body[TAKE_UP] = holds
    journal = bench.journal
    entry: Entry = journal.writer.append(journal.run, Kind.RUN_ENDED, result, body)
    return RunEnd(
        journal.run, result, message, hazards, entry.digest.hex(), resumable=holds is not None
    )
