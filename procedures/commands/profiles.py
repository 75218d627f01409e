"""`trimbench profile …`: list profiles, try one out, write a new one.

The tools behind it come from the room of the drivers; whoever wires the command line hands them
over (`daq.trial.ProfileTools`), and they load only when a command runs.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from daq.errors import BenchError, InputError
from daq.reading import Quality
from daq.trial import ProfileTools, Trial, TrialStep
from procedures.commands.output import JsonOption, finite
from procedures.show import said_value

ProfileArgument = Annotated[
    str, typer.Argument(metavar="FILE", help="A profile's file, or the name of a shipped one.")
]


def profile_app(load: Callable[[], ProfileTools]) -> typer.Typer:
    """Return the commands.

    Parameters
    ----------
    load
        Returns the tools.
    """
    app = typer.Typer(no_args_is_help=True, help="List, try out and write instrument profiles.")

    @app.command("list")
    def list_profiles(as_json: JsonOption = False) -> None:
        """List the profiles and drivers that a station file may name."""
        found = load().catalogue()
        if as_json:
            typer.echo(json.dumps({"profiles": [asdict(item) for item in found]}))
            return
        width = max(len(item.name) for item in found)
        for item in found:
            words = ": ".join(part for part in (item.instrument_class, item.description) if part)
            typer.echo(f"{item.name:<{width}}  {words}".rstrip())

    @app.command()
    def check(
        file: ProfileArgument,
        resource: Annotated[
            str, typer.Option(help="The instrument's address, such as TCPIP::host::5025::SOCKET.")
        ] = "",
        transcript: Annotated[
            Path | None, typer.Option(help="Instead: a file of lines sent (->) and received (<-).")
        ] = None,
        as_json: JsonOption = False,
    ) -> None:
        """Try a profile, and show each line sent and received and what each quantity reads."""
        from daq.clock import SystemClock

        trial = load().try_profile(
            file, resource=resource, transcript=transcript, clock=SystemClock()
        )
        if as_json:
            typer.echo(json.dumps(finite({**asdict(trial), "passed": trial.passed})))
        else:
            _print(trial)
        if not trial.passed:
            raise typer.Exit(BenchError.exit_code)

    @app.command()
    def new(
        file: Annotated[Path, typer.Argument(help="Where to write it; it must not exist.")],
    ) -> None:
        """Ask what a profile needs, the instrument's own answers included, and write it."""
        path, heard = _new_files(file)
        draft = load().draft(_ask)
        write_new(path, draft.profile)
        write_new(heard, draft.transcript)
        typer.echo(f"Profile     {path}\nTranscript  {heard}")
        typer.echo(f"Try it      trimbench profile check {path} --transcript {heard}")
        typer.echo(f"            trimbench profile check {path} --resource ADDRESS")

    return app


def _new_files(file: Path) -> tuple[Path, Path]:
    """Return the profile's and the transcript's path; InputError where one is there already."""
    if not file.name:
        raise InputError("An empty name is no file.", hint="such as my-receiver.toml.")
    path = file if file.suffix == ".toml" else file.with_name(file.name + ".toml")
    heard = path.with_suffix(".transcript")
    for one in (path, heard):
        if one.exists():
            raise InputError(f"{one} is there already; nothing is written over.")
    return path, heard


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet.

    Raises
    ------
    InputError
        It is there, or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise InputError(f"{path} is there already; nothing is written over.") from error
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror or error}.") from error


def _ask(question: str) -> str:
    return str(typer.prompt(question, default="", show_default=False, prompt_suffix=" "))


def _print(trial: Trial) -> None:
    for step in trial.steps:
        typer.echo(step.what)
        for line in step.lines:
            typer.echo(f"  {line}")
        typer.echo(f"  fails  {step.error}" if step.error else f"  reads  {_said(step)}")
    for rate in trial.baud_rates:
        verdict = "fits" if rate.fits else "does not fit"
        typer.echo(
            f"{rate.baud_rate} baud: {rate.received} bytes, {100 * rate.printable:.0f} % "
            f"printable, {verdict}"
        )
    typer.echo("The profile fits." if trial.passed else "The profile does not fit.")


def _said(step: TrialStep) -> str:
    reading = step.reading
    if reading is None:
        return step.says
    if reading.quality is not Quality.OK:
        return f"no value to be judged: {reading.quality}"
    if reading.u == 0.0:
        return step.says  # a word, which stands for its number without doubt
    unit = "" if reading.unit == "1" else f" {reading.unit}"
    said = said_value(reading.quantity, reading.value)
    return f"{said}, standard uncertainty {reading.u:.2g}{unit}"
