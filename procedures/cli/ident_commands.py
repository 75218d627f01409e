"""The command by which a log goes on under another ident."""

from __future__ import annotations

from typing import Annotated

import typer

from procedures.commands.options import StationOption, station_path

ident_app = typer.Typer()


@ident_app.command("ident-changed")
def ident_changed(
    before: Annotated[str, typer.Option("--from", help="The ident that the log bears so far.")],
    station: StationOption = None,
) -> None:
    """Let the log of a station go on under the ident that its station file bears now."""
    from daq.clock import SystemClock
    from daq.errors import InputError
    from daq.log.entry import Kind
    from daq.log.owner import ident_of
    from daq.log.reader import LogReader
    from daq.log.writer import LogWriter
    from daq.station import load_station
    from procedures.engine.run_started import started_body

    described = load_station(station_path(station))
    with LogReader(described.log_path) as reader:
        bears = ident_of(reader)
    now = described.station.ident
    if bears != before or before == now:
        raise InputError(
            f"{described.log_path}: the log bears the ident '{bears}', the station file "
            f"{described.path} '{now}'; `--from {before}` changes nothing.",
            hint="give `--from` the ident of the log, with the new one in the station file.",
        )
    name = "ident-changed"
    with LogWriter(described.log_path, SystemClock()) as writer:
        run = writer.next_run()
        writer.append(
            run, Kind.RUN_STARTED, name, started_body(name, 1, described, (), operator="technician")
        )
        said = f"the ident was changed from {before} to {now}"
        writer.append(run, Kind.EVENT, name, {"event": said, "was": before, "now": now})
        end = {"result": "finished", "message": "", "open_hazards": []}
        writer.append(run, Kind.RUN_ENDED, "finished", end)
    typer.echo(f"Run {run}: {said}. The log goes on under {now}.")
