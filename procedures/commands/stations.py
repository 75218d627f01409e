"""`trimbench station …`: get the station file that comes with the program, to try or to change."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Final

import typer

from daq.errors import InputError
from procedures.commands.output import JsonOption
from procedures.commands.profiles import write_new

SHIPPED: Final = "tarnholt-16.toml"
"""The station file that the demonstration and the examples use."""

station_app = typer.Typer(no_args_is_help=True, help="Get a station file to begin with.")


@station_app.callback()
def _group() -> None:
    """Get a station file to begin with."""


@station_app.command()
def new(
    file: Annotated[Path, typer.Argument(help="Where to write it; it must not exist.")] = Path(
        SHIPPED
    ),
    as_json: JsonOption = False,
) -> None:
    """Write a copy of the invented station that comes with the program.

    As it is it can be simulated; with your names, limits and instruments it is your station.
    """
    path = file / SHIPPED if file.is_dir() else file
    if path.suffix != ".toml":
        path = path.with_name(f"{path.name}.toml")
    write_new(path, shipped_text(SHIPPED))
    if as_json:
        typer.echo(json.dumps({"station": str(path)}))
        return
    typer.echo(f"Station file   {path}")
    typer.echo(f"Simulate it    trimbench simulate {path}")
    typer.echo("Make it yours  change the names, points and instruments in it")


def shipped_stations() -> tuple[str, ...]:
    """Return the file names of the station files that come with the program."""
    folder = files("procedures") / "stations"
    return tuple(sorted(e.name for e in folder.iterdir() if e.name.endswith(".toml")))


def shipped_text(name: str) -> str:
    """Return a shipped station file.

    Raises
    ------
    InputError
        There is none of that name.
    """
    from daq.toml_faults import did_you_mean

    known = shipped_stations()
    if name not in known:
        raise InputError(
            f"No station file called {name!r} comes with the program; there is {', '.join(known)}.",
            hint=did_you_mean(name, known),
        )
    return (files("procedures") / "stations" / name).read_text(encoding="utf-8")
