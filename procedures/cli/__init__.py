"""The command line: the one place that wires procedures to drivers and to the simulated bench.

Everything heavy is imported by the command that needs it, so that ``trimbench --help`` answers
at once. `procedures.cli.wiring` opens instruments and operators; the other modules hold commands.
"""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from procedures.cli.bench_commands import bench_app
from procedures.cli.ident_commands import ident_app
from procedures.cli.run_commands import run_app as runs_app
from procedures.cli.run_commands import run_named
from procedures.cli.simulate_commands import simulate_app
from procedures.cli.wiring import profile_tools
from procedures.commands.errors import run_app
from procedures.commands.history import history_app
from procedures.commands.limits import limits_app
from procedures.commands.log import log_app
from procedures.commands.profiles import profile_app
from procedures.commands.routine import routine_app
from procedures.commands.stations import station_app
from procedures.commands.trims import trim_app
from procedures.page.command import page_app

app = typer.Typer(
    name="trimbench",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help=(
        "Guides, measures and records the trims of an ILS localizer.\n\n"
        "trimbench reads instruments and never commands a transmitter. It never says that a "
        "facility is fit for service: that is for the authority and for licensed practice."
    ),
)
_PARTS = (
    runs_app,
    routine_app(run_named),
    log_app,
    history_app,
    bench_app,
    ident_app,
    limits_app,
    simulate_app,
    page_app,
)
for part in _PARTS:
    app.registered_commands += part.registered_commands
app.add_typer(trim_app, name="trim")
app.add_typer(profile_app(profile_tools), name="profile")
app.add_typer(station_app, name="station")


def _version(*, wanted: bool) -> None:
    """Print the program's version and leave."""
    from importlib.metadata import version

    if wanted:
        typer.echo(f"trimbench {version('trimbench')}")
        raise typer.Exit


@app.callback()
def _options(
    *,
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            is_eager=True,
            callback=lambda wanted: _version(wanted=wanted),
            help="Print the version and leave.",
        ),
    ] = False,
) -> None:
    pass


def main() -> None:
    """Enter here from the shell."""
    sys.exit(run_app(app))
