"""Commands that only read the log: list runs, make a record, check the chain."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from procedures.commands.options import StationOption, station_path
from procedures.commands.output import JsonOption

if TYPE_CHECKING:
    from daq.log.reader import LogReader

log_app = typer.Typer()

RUNNING: Final = "running"
"""Result of a run that another process is working on."""

RunArgument = Annotated[int, typer.Argument(metavar="RUN", help="Number of the run.")]


@log_app.command()
def runs(station: StationOption = None, as_json: JsonOption = False) -> None:
    """List the runs in a station's log, and check that the log is whole."""
    from daq.log.lock import holder
    from daq.log.reader import LogReader

    path = _log_path(station)
    # Looked at before the rows: a run that ends meanwhile is listed with its end.
    held_by = holder(path)
    running = None if held_by is None else held_by.run
    with LogReader(path) as reader:
        listed = [_as_row(reader, number, running=running) for number in reader.run_numbers()]
        checked = reader.verify()
    if as_json:
        typer.echo(json.dumps({"runs": listed, "rows": checked.rows, "digest": checked.digest}))
        return
    for row in listed:
        typer.echo(
            f"{row['run']:>4}  {str(row['started'])[:16]}  {row['procedure']:<18} "
            f"{row['result']:<9} {row['readings']:>6} readings  {row['message']}".rstrip()
        )
        said = "STILL OPEN" if row["result"] == RUNNING else "NOT CONFIRMED AS PUT BACK"
        for hazard in _list(row["open_hazards"]):
            typer.echo(f"      {said}: {hazard}")
    if not listed:
        typer.echo("No runs yet.")
    typer.echo(f"{checked.rows} rows, the chain holds, last digest {checked.digest[:16]}")


@log_app.command()
def record(
    run_number: RunArgument,
    station: StationOption = None,
    folder: Annotated[
        Path | None, typer.Option(help="Where to put it; beside the log by default.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make the record of a run from the log: a PDF to sign and a CSV of its readings."""
    from daq.log.reader import LogReader
    from procedures.commands.guard import chain_warnings, warn
    from procedures.record.make import write_record

    log_path = _log_path(station)
    made = write_record(log_path, run_number, folder or log_path.parent)
    with LogReader(log_path) as reader:
        warnings = chain_warnings(reader)
    warn(warnings, as_json=as_json)
    if as_json:
        said = {"pdf": str(made.pdf), "csv": str(made.csv), "warnings": warnings}
        typer.echo(json.dumps(said))
        return
    typer.echo(f"Record    {made.pdf}\nReadings  {made.csv}")


@log_app.command()
def verify(
    station: StationOption = None,
    digest: Annotated[
        str | None, typer.Option(help="A digest printed on a record: it has to be in the log.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Check the log's chain: an edited, removed or moved row is found."""
    from daq.errors import InputError
    from daq.log.reader import LogReader

    if digest is not None and (
        len(digest) < 8 or not all(c in "0123456789abcdefABCDEF" for c in digest)
    ):
        raise InputError(
            f"'{digest}' is no digest.", hint="give at least 8 of the figures on the record."
        )
    path = _log_path(station)
    with LogReader(path) as reader:
        checked = reader.verify(digest=digest)
    if as_json:
        typer.echo(json.dumps({"rows": checked.rows, "digest": checked.digest}))
        return
    typer.echo(f"{path}: {checked.rows} rows, the chain holds, last digest {checked.digest}")


def _log_path(station: Path | None) -> Path:
    from daq.station import load_station

    return load_station(station_path(station)).log_path


def _as_row(reader: LogReader, number: int, *, running: int | None) -> dict[str, object]:
    """Return one run; `running` is the number of the one that is going on, if any."""
    from daq.clock import iso_utc
    from procedures.engine.left_open import is_resumable, open_hazards
    from procedures.record.collect import CUT_OFF

    summary = reader.run(number)
    going_on = number == running and summary.ended is None
    ended = summary.ended or {"result": RUNNING if going_on else CUT_OFF, "message": ""}
    return {
        "run": summary.run,
        "started": iso_utc(summary.started_utc_ns),
        "last": iso_utc(summary.last_utc_ns),
        "procedure": summary.started["procedure"],
        "result": ended["result"],
        "message": ended["message"],
        "open_hazards": list(open_hazards(reader, summary)),
        "resumable": not going_on and is_resumable(reader, summary),
        "rows": summary.rows,
        "readings": summary.readings,
        "digest": summary.digest,
    }


def _list(value: object) -> list[object]:
    return value if isinstance(value, list) else []
