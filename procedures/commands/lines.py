"""Print a line for people: at a terminal wrapped at words, whole for whatever else reads it."""

from __future__ import annotations

import os
import sys
import textwrap
from typing import Final, TextIO

import typer

WIDEST: Final = 80
"""Text is no wider than this, however wide the window: long lines are hard to read."""

_NARROWEST: Final = 20


def say(text: str, *, err: bool = False) -> None:
    """Print `text` on standard output, or on standard error."""
    typer.echo(wrapped(text, columns(sys.stderr if err else sys.stdout)), err=err)


def wrapped(text: str, width: int | None) -> str:
    """Return `text` with its lines broken at blanks; as it is when there is no width.

    A word that is longer than a line, such as the path of a file, stays whole.
    """
    if width is None:
        return text
    return "\n".join(
        textwrap.fill(line, width, break_long_words=False, break_on_hyphens=False)
        for line in text.split("\n")
    )


def columns(stream: TextIO) -> int | None:
    """Return how wide to write on a stream; None where it is no terminal."""
    try:
        if not stream.isatty():
            return None
        # A terminal that does not know its width says 0.
        width = os.get_terminal_size(stream.fileno()).columns or WIDEST
    except (OSError, ValueError):
        return None
    return min(max(width, _NARROWEST), WIDEST)
