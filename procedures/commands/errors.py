"""Run a command line application and turn whatever goes wrong into a message and an exit code.

Exit codes: those of `daq.errors`; 2 for a wrong command line; 130 when interrupted. With
``--json`` among the arguments an error is one object on standard error,
``{"error": {"kind": ..., "message": ..., "hint": ...}}``. Nobody ever sees a traceback, unless the
environment variable ``TRIMBENCH_TRACEBACK`` asks for it.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence

import typer

from daq.errors import TrimbenchError

INTERRUPTED = 130
"""Exit code of a program stopped by Ctrl-C, as shells count: 128 + SIGINT."""

USAGE = 2


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
    except Exception as error:  # noqa: BLE001 - the last boundary: a technician gets a sentence
        return _unexpected(error, as_json=as_json)
    # Typer turns Ctrl-C inside a command into this code, and says nothing.
    if result == INTERRUPTED:
        _print_error("Interrupted.", {"kind": "Interrupted"}, as_json=as_json)
    return result if isinstance(result, int) else 0


def _usage(error: typer.TyperException, name: str, *, as_json: bool) -> int:
    text = error.format_message().replace("Value error, ", "")
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
        typer.echo(f"error: {text}", err=True)
