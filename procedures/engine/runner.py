"""Begin a run, resume one that was cut off, and end it in good order.

A run ends as ``finished``, ``refused`` or ``aborted``. One that was cut off (a kill, a power cut,
an instrument that could not be mended, Ctrl-C) has no end in the log and can be resumed.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from daq.clock import Clock
from daq.errors import Aborted, BenchError, IdentityError, InputError, JournalMismatch, Refused
from daq.journal import Journal
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.roles import Action, Instrument, Operator, Prompt
from daq.station import Station
from procedures.catalogue import PROCEDURES, Procedure, procedure
from procedures.engine.bench import Bench
from procedures.engine.run_started import started_body
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
    """

    run: int
    result: Result
    message: str
    open_hazards: tuple[str, ...]
    digest: str


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
    """Go on with a run that was cut off.

    Raises
    ------
    InputError
        There is no such run, or it has ended.
    JournalMismatch
        The procedure or the station file is another one now; names the first difference.
    IdentityError
        Another instrument answers than the run began with.
    BenchError, LogError
        As `begin`.
    """
    with LogReader(crew.writer.path) as reader:
        summary = reader.run(run)
        recorded = tuple(reader.entries(run=run, kind=Kind.OUTCOME))
        # What is shown stays what it was when the run began.
        references = current(reader, summary.started_utc_ns)
    if summary.ended is not None:
        raise InputError(
            f"Run {run} has ended ({summary.ended.get('result')}); there is nothing to resume.",
            hint="`trimbench run` begins a new one.",
        )
    chosen = _procedure_of(run, summary.started)
    _check_same(run, summary.started, chosen, station, crew.instruments)
    journal = Journal(crew.writer, run, recorded)
    journal.event("resumed", {"event": "resumed", "outcomes": len(recorded)})
    return _work(chosen, station, crew, journal, references)


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
        There is no such log or run.
    """
    with LogReader(log_path) as reader:
        began = reader.run(run).started["instruments"]
    return (
        frozenset(str(each["alias"]) for each in began) if isinstance(began, list) else frozenset()
    )


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
    except (Refused, Aborted) as end:
        _put_back(bench)
        result: Result = "refused" if isinstance(end, Refused) else "aborted"
        return _end(bench, result, str(end))
    except BenchError as error:
        journal.event("interrupted", {"event": "interrupted", "error": error.details()})
        _say_cut_off(bench)
        raise
    except BaseException:
        _say_cut_off(bench)
        raise
    return _end(bench, "finished", "")


def _do(chosen: Procedure, bench: Bench) -> None:
    chosen.work(bench)
    if bench.journal.replaying:
        raise JournalMismatch(f"Run {bench.journal.run} holds more steps than the procedure has.")


def _say_cut_off(bench: Bench) -> None:
    """Say how to go on when a run is cut off, whatever cut it off, and what is still open."""
    go_on = f"`trimbench resume {bench.journal.run}`"
    for hazard in bench.hazards.values():
        bench.operator.tell(
            f"CAUTION: the run stops here, but {hazard.what}. Put it back to normal, or go on with "
            f"{go_on}."
        )
    if not bench.hazards:
        bench.operator.tell(f"The run stops here; {go_on} goes on with it.")


def _put_back(bench: Bench) -> None:
    """See every hazard undone before the run ends, or let the record say that it is not."""
    for number, (key, hazard) in enumerate(list(bench.hazards.items()), start=1):
        acts = hazard.undo or (None,)
        try:
            done = all(
                bool(bench.operator.answer(_put_back_prompt(f"{number}.{n}", hazard.what, act)))
                for n, act in enumerate(acts, start=1)
            )
        except Aborted:
            done = False
        bench.journal.event(key, {"event": "put back", "what": hazard.what, "confirmed": done})
        if done:
            del bench.hazards[key]


def _put_back_prompt(number: str, what: str, act: Action | None) -> Prompt:
    how = "Put it back to normal now"
    if act is not None:
        named = act.arguments.get("control") or act.arguments.get("path") or ""
        how = f"Put it back to normal now ({act.verb} {named})"
    return Prompt(
        f"put back/{number}",
        "confirm",
        f"The run ends, but {what}. {how}. Is it done?",
        caution="False guidance is radiated until it is done.",
        action=act,
    )


def _end(bench: Bench, result: Result, message: str) -> RunEnd:
    hazards = tuple(hazard.what for hazard in bench.hazards.values())
    entry: Entry = bench.journal.writer.append(
        bench.journal.run,
        Kind.RUN_ENDED,
        result,
        {"result": result, "message": message, "open_hazards": list(hazards)},
    )
    return RunEnd(bench.journal.run, result, message, hazards, entry.digest.hex())


def _check_same(
    run: int,
    started: Body,
    chosen: Procedure,
    station: Station,
    instruments: Mapping[str, Instrument],
) -> None:
    if started["procedure_version"] != chosen.version:
        raise JournalMismatch(
            f"Run {run} was begun by version {started['procedure_version']} of "
            f"'{chosen.name}'; this trimbench has version {chosen.version}.",
            hint="resume it with the trimbench that began it, or begin a new run.",
        )
    if started["station_digest"] != station.digest:
        line = _first_changed_line(str(started["station_text"]), station.text)
        raise JournalMismatch(
            f"Run {run} was begun with another station file; the first difference: {line}",
            hint="put the station file back as it was, or begin a new run.",
        )
    _check_instruments(run, started["instruments"], instruments)


def _first_changed_line(before: str, now: str) -> str:
    changes = [
        line
        for line in difflib.unified_diff(before.splitlines(), now.splitlines(), lineterm="", n=0)
        if not line.startswith(("---", "+++", "@@"))
    ]
    return " / ".join(changes[:2]) or "line ends only"


def _check_instruments(run: int, began: object, instruments: Mapping[str, Instrument]) -> None:
    if not isinstance(began, list):
        raise JournalMismatch(f"Run {run} does not say which instruments it began with.")
    for was in began:
        now = instruments.get(str(was["alias"]))
        if now is None:
            raise JournalMismatch(f"Run {run} had an instrument '{was['alias']}' that is not here.")
        if (was["model"], was["serial"]) != (now.identity.model, now.identity.serial):
            raise IdentityError(
                f"run {run} began with {was['maker']} {was['model']} serial {was['serial']}, but "
                f"{now.identity} answers now.",
                instrument=now.alias,
                hint="connect the instrument that the run began with, or begin a new run.",
            )
