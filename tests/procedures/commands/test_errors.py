"""Errors of the command line: a sentence, an exit code, JSON when asked."""

from __future__ import annotations

import errno
import json
from typing import Annotated

import pytest
import typer

from daq.errors import Aborted, InputError, LinkTimeout
from procedures.commands.errors import Interrupted, run_app

app = typer.Typer(no_args_is_help=True)
JsonFlag = Annotated[bool, typer.Option("--json")]
FAULTS: dict[str, BaseException] = {
    "input": InputError("That is no length.", hint="write metres."),
    "link": LinkTimeout("Nothing came.", instrument="scope", sent=b"VOLT?\n", received=b"1.\xff"),
    "aborted": Aborted("Stopped."),
    "keys": KeyboardInterrupt(),
    "run": Interrupted.of_run(7, ["the line is in"]),
    "disk": OSError(errno.ENOSPC, "No space left on device"),
    "system": OSError(errno.EIO, "Input/output error"),
    "fault": ZeroDivisionError("division by zero"),
}


@app.command()
def fail(how: str, *, as_json: JsonFlag = False) -> None:
    """Fail."""
    raise FAULTS[how]


@app.command()
def works(number: float = 1.0, *, as_json: JsonFlag = False) -> None:
    """Print a number."""
    typer.echo(number)


@app.command()
def leaves(*, as_json: JsonFlag = False) -> None:
    """Leave with a code of its own."""
    raise typer.Exit(7)


@pytest.mark.parametrize(
    ("how", "code"),
    [
        ("input", 2),
        ("link", 3),
        ("disk", 4),
        ("aborted", 6),
        ("keys", 130),
        ("run", 130),
        ("system", 1),
        ("fault", 1),
    ],
)
def test_each_fault_has_its_code_and_no_traceback(
    how: str, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_app(app, ["fail", how]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("error: ")
    assert "Traceback" not in err


def test_with_json_an_error_is_one_object_on_standard_error(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run_app(app, ["fail", "link", "--json"]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    error = json.loads(err)["error"]
    assert error["kind"] == "LinkTimeout"
    assert error["message"] == "Nothing came."
    assert error["sent"] == "VOLT?\n"
    assert error["received"] == "1.\xff"


def test_a_run_that_was_interrupted_says_what_is_open_and_how_to_go_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run_app(app, ["fail", "run", "--json"]) == 130
    error = json.loads(capsys.readouterr().err)["error"]
    assert (error["kind"], error["run"]) == ("Interrupted", 7)
    assert error["open_hazards"] == ["the line is in"]
    assert error["hint"] == "`trimbench resume 7` goes on with it."
    assert "STILL OPEN: the line is in." in error["message"]


def test_a_full_disk_is_no_fault_of_the_program(capsys: pytest.CaptureFixture[str]) -> None:
    run_app(app, ["fail", "disk"])
    err = capsys.readouterr().err
    assert "The disk is full" in err
    assert "fault in trimbench" not in err


@pytest.mark.parametrize(
    ("argv", "message"),
    [
        (["works", "--number", "x", "--json"], "--number"),
        (["works", "--nonsense", "--json"], "No such option"),
        (["fail", "--json"], "Missing argument"),
        (["nothing", "--json"], "No such command"),
    ],
)
def test_a_wrong_command_line_is_json_too(
    argv: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_app(app, argv) == 2
    error = json.loads(capsys.readouterr().err)["error"]
    assert error["kind"] == "UsageError"
    assert message in error["message"]
    assert error["hint"].endswith("--help")


def test_success_and_own_exit_codes_pass_through(capsys: pytest.CaptureFixture[str]) -> None:
    assert run_app(app, ["works", "--number", "-0.121"]) == 0
    assert capsys.readouterr().out == "-0.121\n"
    assert run_app(app, ["leaves"]) == 7
    assert run_app(app, ["--help"]) == 0


def test_without_a_command_the_help_is_shown_and_nothing_after_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run_app(app, []) == 2
    out, err = capsys.readouterr()
    assert "Usage:" in out + err
    assert "error" not in out + err


def test_a_traceback_is_there_for_who_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRIMBENCH_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError, match="division"):
        run_app(app, ["fail", "fault"])
