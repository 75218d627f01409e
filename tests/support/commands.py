"""Run the command line in this process, and look at what it leaves behind."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from procedures.cli import app
from procedures.commands.errors import run_app


@dataclass(frozen=True)
class Said:
    """Exit code and both outputs of one command."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one object on standard output."""
        return json.loads(self.out)

    @property
    def error(self) -> dict[str, Any]:
        """The error object on standard error; nothing may be on standard output."""
        assert self.out == ""
        error: dict[str, Any] = json.loads(self.err)["error"]
        return error

    def is_a_short_message(self) -> None:
        """One to three lines that begin with ``error:``, and no traceback."""
        assert self.err.startswith("error: ")
        assert 1 <= len(self.err.strip().splitlines()) <= 3
        assert "Traceback" not in self.err
        assert "fault in trimbench" not in self.err


@dataclass(frozen=True)
class CommandLine:
    """The command line with its outputs caught."""

    caught: pytest.CaptureFixture[str]

    def __call__(self, *argv: object) -> Said:
        self.caught.readouterr()
        code = run_app(app, [str(word) for word in argv])
        out, err = self.caught.readouterr()
        return Said(code, out, err)


def listing(folder: Path) -> dict[str, bytes]:
    """Name and content of every file in a folder."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
