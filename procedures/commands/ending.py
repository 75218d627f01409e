"""What is said and made when a run has ended: the record, the verdict in words, the exit code."""

from __future__ import annotations

import json

import typer

from daq.errors import Aborted, Refused
from daq.station import Station
from procedures.engine.runner import RunEnd
from procedures.record.make import write_record


def finish(station: Station, end: RunEnd, *, as_json: bool) -> None:
    """Make the record, say how the run ended, and leave with its exit code.

    Raises
    ------
    typer.Exit
        The run was refused or aborted.
    """
    made = write_record(station.log_path, end.run, station.log_path.parent)
    if as_json:
        typer.echo(
            json.dumps(
                {
                    "run": end.run,
                    "result": end.result,
                    "message": end.message,
                    "open_hazards": list(end.open_hazards),
                    "digest": end.digest,
                    "pdf": str(made.pdf),
                    "csv": str(made.csv),
                }
            )
        )
    else:
        _say(end, str(made.pdf), str(made.csv))
    if end.result == "refused":
        raise typer.Exit(Refused.exit_code)
    if end.result == "aborted":
        raise typer.Exit(Aborted.exit_code)


def _say(end: RunEnd, pdf: str, csv: str) -> None:
    typer.echo("")
    typer.echo(f"Run {end.run} {end.result}. {end.message}".rstrip())
    for hazard in end.open_hazards:
        typer.echo(f"CAUTION: not confirmed as put back: {hazard}.")
    typer.echo(f"Record    {pdf}\nReadings  {csv}\nDigest    {end.digest}")
