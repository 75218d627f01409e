"""Text on the console: never markup, never control characters, always encodable."""

from __future__ import annotations

import os

from rich.box import ASCII, HEAVY
from rich.console import Console
from rich.panel import Panel
from rich.text import Text

from daq.roles import Prompt
from procedures.terminal.format import printable

MAX_WIDTH = 80
"""Text is no wider than this, however wide the window: long lines are hard to read."""

_REMINDER = "Reminder: "
"""How a caution begins that reminds of what is open."""


def say(console: Console, text: str, *, style: str = "", end: str = "\n") -> None:
    """Print foreign text as it is: brackets mean nothing, escape sequences are taken out.

    Line ends in `text` are kept; every line is wrapped at words.
    """
    console.print(
        Text(_safe(console, text), style=style),
        end=end,
        soft_wrap=False,
        highlight=False,
        width=min(columns(console), MAX_WIDTH),
    )


def caution(console: Console, text: str) -> None:
    """Print a bordered block headed CAUTION."""
    console.print(
        Panel(
            Text(_safe(console, text), style="bold"),
            title="CAUTION",
            box=HEAVY if speaks_unicode(console) else ASCII,
            width=min(columns(console), MAX_WIDTH),
            border_style="yellow",
        )
    )


class Prompts:
    """Prompts one after the other.

    A caution stands in a block when it is new. While the same one goes on standing, its words do
    without: a block that is always there is no longer read. Where it has to be acknowledged it is
    shown whole again.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self._standing = ""

    def pose(self, prompt: Prompt) -> None:
        """Print what a prompt asks, its caution first."""
        say(self._console, "")
        if prompt.caution and prompt.caution == self._standing and prompt.kind != "acknowledge":
            say(self._console, f"CAUTION still: {prompt.caution.removeprefix(_REMINDER)}")
        elif prompt.caution:
            caution(self._console, prompt.caution)
        self._standing = prompt.caution
        say(self._console, prompt.text, style="bold")


def columns(console: Console) -> int:
    """Return the width to draw for; rich takes every dumb terminal to be 80 columns wide."""
    if console.is_dumb_terminal:
        try:
            return os.get_terminal_size(console.file.fileno()).columns or console.width
        except (OSError, ValueError):
            return console.width
    return console.width


def speaks_unicode(console: Console) -> bool:
    """Whether line drawing characters can be printed."""
    return console.encoding.lower().replace("-", "").startswith("utf")


def _safe(console: Console, text: str) -> str:
    clean = "\n".join(printable(line) for line in text.split("\n"))
    if speaks_unicode(console):
        return clean
    return clean.encode(console.encoding, "replace").decode(console.encoding)
