"""The command that does what is due: each procedure a run of its own, in the order of urgency."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from procedures.commands.options import StationOption, station_path
from procedures.commands.output import JsonOption

if TYPE_CHECKING:
    from daq.station import Station
    from procedures.history.due import DueItem

Who = Literal["terminal", "sim"]
RunProcedure = Callable[[str, Path, Who, bool], None]
"""Runs one procedure by name: station file, who answers, and whether a program reads the output."""

PENDING = ("never done", "overdue")
SOON = "due soon"


def due_procedures(items: Sequence[DueItem], *, soon: bool = False) -> tuple[str, ...]:
    """Return the procedures that are to be run, the most urgent first, each once.

    Parameters
    ----------
    items
        As `procedures.history.due.what_is_due` returns them.
    soon
        Also those that are due soon.
    """
    states = (*PENDING, SOON) if soon else PENDING
    wanted = [item.procedure for item in items if item.procedure and item.state in states]
    return tuple(dict.fromkeys(wanted))


def routine_app(run: RunProcedure) -> typer.Typer:
    """Return the command; `run` runs one procedure, with its record."""
    app = typer.Typer()

    @app.command()
    def routine(
        station: StationOption = None,
        due: Annotated[
            bool, typer.Option("--due", help="Run what is due, and not the routine readings alone.")
        ] = False,
        soon: Annotated[
            bool, typer.Option("--soon", help="With --due: also what is due soon.")
        ] = False,
        operator: Annotated[
            Who, typer.Option("--operator", help="Who answers and turns controls.")
        ] = "terminal",
        list_only: Annotated[
            bool, typer.Option("--list", help="Only say what would be run.")
        ] = False,
        as_json: JsonOption = False,
    ) -> None:
        """Do the routine work: the readings, or with --due everything whose interval has passed."""
        from daq.station import load_station

        path = station_path(station)
        described = load_station(path)
        names = _due_today(described, soon=soon) if due else ("routine",)
        if list_only or not names:
            _say(names, as_json=as_json)
            return
        for name in names:
            run(name, path, operator, as_json)

    return app


def _due_today(station: Station, *, soon: bool) -> tuple[str, ...]:
    from daq.clock import SystemClock
    from procedures.history.due import due_at
    from procedures.history.model import day_of

    return due_procedures(due_at(station, day_of(SystemClock().utc_ns())), soon=soon)


def _say(names: Sequence[str], *, as_json: bool) -> None:
    if as_json:
        typer.echo(json.dumps({"procedures": list(names)}))
        return
    typer.echo("\n".join(names) if names else "Nothing is due.")
