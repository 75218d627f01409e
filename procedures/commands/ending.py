"""What is said and made when a run has ended: the end, the verdicts, the record, the exit code."""

from __future__ import annotations

import json
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import typer

from daq.errors import Aborted, Refused, TrimbenchError
from daq.station import Station
from procedures.commands.errors import Interrupted
from procedures.commands.lines import say
from procedures.commands.output import finite
from procedures.commands.verdicts import Verdicts, verdicts_of
from procedures.engine.runner import CutOff, RunEnd
from procedures.record.make import RecordFiles, write_record


def finish(station: Station, end: RunEnd, *, as_json: bool) -> None:
    """Say how the run ended, make the record, and leave with the run's exit code.

    What is left open is said first: where no record can be made, nobody may miss it. A run that
    finished has exit code 0 also where something is out of tolerance: it did its work, and says so.

    Raises
    ------
    typer.Exit
        The run was refused or aborted.
    LogFull, LogError, LogDamaged
        The record could not be made; how the run ended has been said.
    """
    if as_json:
        _print_data(station, end)
    else:
        _say_end(end)
        try:
            _say_verdicts(verdicts_of(station.log_path, end.run))
            made = _record_of(station, end)
        except (TrimbenchError, OSError):
            say(f"No record was made; `trimbench record {end.run}` makes it once this is mended:")
            raise
        typer.echo(f"Record    {made.pdf}\nReadings  {made.csv}\nDigest    {end.digest}")
    if end.result == "refused":
        raise typer.Exit(Refused.exit_code)
    if end.result == "aborted":
        raise typer.Exit(Aborted.exit_code)


@contextmanager
def interrupts_told() -> Iterator[None]:
    """Turn Ctrl-C or a terminate signal within a run into an error that says how to go on.

    Raises
    ------
    Interrupted
        A run was cut off.
    KeyboardInterrupt
        None had begun.
    """
    # Only the main thread may say what a signal does.
    here = threading.current_thread() is threading.main_thread()
    before = signal.signal(signal.SIGTERM, signal.default_int_handler) if here else None
    try:
        yield
    except CutOff as stop:
        raise Interrupted.of_run(stop.run, stop.open_hazards, resumable=stop.resumable) from stop
    finally:
        if here:
            signal.signal(signal.SIGTERM, before)


def _record_of(station: Station, end: RunEnd) -> RecordFiles:
    return write_record(station.log_path, end.run, station.log_path.parent)


def _print_data(station: Station, end: RunEnd) -> None:
    """Print one object; what could not be made is null in it."""
    data = _as_data(end)
    try:
        data["verdicts"] = verdicts_of(station.log_path, end.run).as_data()
        made = _record_of(station, end)
        data |= {"pdf": str(made.pdf), "csv": str(made.csv)}
    finally:
        typer.echo(json.dumps(finite(data), allow_nan=False, ensure_ascii=False))


def _as_data(end: RunEnd) -> dict[str, object]:
    return {
        "run": end.run,
        "result": end.result,
        "message": end.message,
        "open_hazards": list(end.open_hazards),
        "resumable": end.resumable,
        "verdicts": None,
        "digest": end.digest,
        "pdf": None,
        "csv": None,
    }


def _say_end(end: RunEnd) -> None:
    typer.echo("")
    say(f"Run {end.run} {end.result}. {end.message}".rstrip())
    if end.resumable:
        say(f"`trimbench resume {end.run}` takes it up again.")
    for hazard in end.open_hazards:
        say(f"CAUTION: not confirmed as put back: {hazard}.")


def _say_verdicts(verdicts: Verdicts) -> None:
    bad, undecided = len(verdicts.out), len(verdicts.undecided)
    judged = len(verdicts.within) + bad + undecided
    for words in verdicts.wrong_codes:
        say(f"- {words}")
    if not judged:
        return
    others = [f"{bad} out"] * bool(bad) + [f"{undecided} undecided"] * bool(undecided)
    say("; ".join([f"{len(verdicts.within)} of {judged} judged lines in tolerance", *others]) + ".")
    for line in (*verdicts.out, *verdicts.undecided):
        say(f"- {line.in_words()}")
