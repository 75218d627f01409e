"""Run a command line application and turn whatever goes wrong into a message and an exit code.

Exit codes: those of `daq.errors`; 2 for a wrong command line; 4 when an output meets a full disk;
130 when interrupted. With ``--json`` among the arguments an error is one object on standard error,
``{"error": {"kind": ..., "message": ..., "hint": ...}}``. Nobody ever sees a traceback, unless the
environment variable ``TRIMBENCH_TRACEBACK`` asks for it.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from typing import Self

import typer

from daq.errors import LogFull, TrimbenchError
from procedures.commands.lines import say

INTERRUPTED = 130
"""Exit code of a program stopped by Ctrl-C, as shells count: 128 + SIGINT."""

USAGE = 2


class Interrupted(TrimbenchError):
    """A run was cut off by Ctrl-C or by a terminate signal.

    Parameters
    ----------
    run
        Its number.
    open_hazards
        What is still in a state that radiates false guidance.
    """

    exit_code = INTERRUPTED

    def __init__(
        self, message: str, *, hint: str = "", run: int = 0, open_hazards: Sequence[str] = ()
    ) -> None:
        super().__init__(message, hint=hint)
        self.run = run
        self.open_hazards = list(open_hazards)

    @classmethod
    def of_run(cls, run: int, open_hazards: Sequence[str], *, resumable: bool = True) -> Self:
        """Return the error that says what is open and how to go on, where it can be gone on."""
        still = "".join(f" STILL OPEN: {hazard}." for hazard in open_hazards)
        return cls(
            f"Interrupted: run {run} is cut off.{still}",
            hint=f"`trimbench resume {run}` goes on with it." if resumable else "",
            run=run,
            open_hazards=open_hazards,
        )


def run_app(app: typer.Typer, argv: Sequence[str] | None = None, *, name: str = "trimbench") -> int:
    """Run `app` on `argv` (default: the process's arguments) and return the exit code.

    Parameters
    ----------
    app
        The application; its commands raise `TrimbenchError`.
    argv
        Arguments without the program's name.
    name
        The program's name in usage texts.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    as_json = "--json" in arguments
    command = typer.main.get_command(app)
    try:
        result = command.main(args=arguments, prog_name=name, standalone_mode=False)
    except TrimbenchError as error:
        _print_error(str(error), error.details(), as_json=as_json)
        return error.exit_code
    except typer.TyperException as error:
        return _usage(error, name, as_json=as_json)
    except (KeyboardInterrupt, typer.Abort):
        result = INTERRUPTED
    except OSError as error:
        return _of_the_system(error, as_json=as_json)
    except Exception as error:  # noqa: BLE001 - the last boundary: a technician gets a sentence
        return _unexpected(error, as_json=as_json)
    # Typer turns Ctrl-C inside a command into this code, and says nothing.
    if result == INTERRUPTED:
        _print_error("Interrupted.", {"kind": "Interrupted"}, as_json=as_json)
    return result if isinstance(result, int) else 0


def _usage(error: typer.TyperException, name: str, *, as_json: bool) -> int:
    # The library lists the choices of an option with tabs and line ends.
    text = " ".join(error.format_message().replace("Value error, ", "").split())
    if text and not text.endswith((".", "?", "!")):
        text += "."
    # Called without a command: the help was printed and there is nothing to add.
    if not text:
        return USAGE
    context = getattr(error, "ctx", None)
    path = name if context is None else context.command_path
    hint = f"{path} --help"
    _print_error(
        f"{text} Try: {hint}",
        {"kind": "UsageError", "message": text, "hint": hint},
        as_json=as_json,
    )
    return USAGE


def _of_the_system(error: OSError, *, as_json: bool) -> int:
    from procedures.record.atomic import NO_SPACE

    if error.errno not in NO_SPACE:
        return _unexpected(error, as_json=as_json)
    full = LogFull(
        "The disk is full: what was asked for could not be written.",
        hint="free some space, then give the same command again.",
    )
    _print_error(str(full), full.details(), as_json=as_json)
    return full.exit_code


def _unexpected(error: Exception, *, as_json: bool) -> int:
    if os.environ.get("TRIMBENCH_TRACEBACK"):
        raise error
    text = f"A fault in trimbench itself: {type(error).__name__}: {error}"
    hint = "set TRIMBENCH_TRACEBACK=1, run the same again, and report what it prints."
    _print_error(
        f"{text}. Try: {hint}",
        {"kind": type(error).__name__, "message": text, "hint": hint},
        as_json=as_json,
    )
    return 1


def _print_error(text: str, details: dict[str, object], *, as_json: bool) -> None:
    if as_json:
        typer.echo(json.dumps({"error": {"message": text, **details}}, default=str), err=True)
    else:
        say(f"error: {text}", err=True)
