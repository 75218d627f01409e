"""Options that several commands share, and where a station file is looked for."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Final

import typer

from daq.errors import InputError, StationFileError

STATION_VARIABLE: Final = "TRIMBENCH_STATION"

StationOption = Annotated[
    Path | None,
    typer.Option(
        "--station",
        envvar=STATION_VARIABLE,
        help="The station file. Default: the only one in this folder.",
    ),
]

StationArgument = Annotated[Path, typer.Argument(help="The station file.")]


def station_path(given: Path | None) -> Path:
    """Return the station file that is meant.

    Raises
    ------
    InputError
        None was named, and this folder has none or several.
    StationFileError
        The one that was named is not there, but comes with the program.
    """
    if given is not None:
        _say_how_to_get(given)
        return given
    found = sorted(path for path in Path().glob("*.toml") if _is_station(path))
    if len(found) == 1:
        return found[0]
    what = "several station files" if found else "no station file"
    raise InputError(
        f"There {'are' if found else 'is'} {what} in {Path().absolute()}"
        f"{': ' + ', '.join(map(str, found)) if found else ''}.",
        hint=f"name it with --station FILE, or set {STATION_VARIABLE}"
        + ("." if found else "; `trimbench station new` writes one to begin with."),
    )


def _say_how_to_get(path: Path) -> None:
    """Refuse a station file that is missing where the examples, which name it, take it to be."""
    from procedures.commands.stations import shipped_stations

    if path.exists() or path.name not in shipped_stations():
        return
    raise StationFileError(
        "There is no such file; one of that name comes with the program.",
        file=str(path),
        hint=f"`trimbench station new {path}` writes a copy of it.",
    )


def _is_station(path: Path) -> bool:
    try:
        with path.open(encoding="utf-8") as lines:
            return any(line.strip() == "[station]" for line in lines)
    except (OSError, UnicodeDecodeError):
        return False
