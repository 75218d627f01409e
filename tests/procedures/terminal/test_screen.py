"""Text on the console."""

from __future__ import annotations

import io

from rich.console import Console

from daq.roles import Prompt
from procedures.terminal.screen import Prompts, say

HOSTILE = "[red]SBO[/red] \x1b[2J[link=http://x]level[/] :warning:"


def test_foreign_text_is_neither_markup_nor_an_escape_sequence(screen_console):
    say(screen_console, HOSTILE)
    shown = screen_console.file.getvalue()
    assert "[red]SBO[/red] ?[2J[link=http://x]level[/] :warning:" in shown
    assert "\x1b[2J" not in shown


def test_a_caution_stands_in_a_block_that_says_so_before_the_question(plain_console):
    Prompts(plain_console).pose(
        Prompt("k", "acknowledge", "Released?", caution=f"High voltage {HOSTILE}")
    )
    shown = plain_console.file.getvalue()
    assert shown.index("CAUTION") < shown.index("High voltage") < shown.index("Released?")
    assert "\x1b" not in shown
    assert "[red]SBO[/red]" in shown


def test_a_console_that_knows_ascii_only_still_shows_everything():
    raw = io.BytesIO()
    console = Console(file=io.TextIOWrapper(raw, encoding="ascii"), width=60, _environ={})
    Prompts(console).pose(Prompt("k", "confirm", "Turn by 12° in the µA range.", caution="Heiß"))
    console.file.flush()
    shown = raw.getvalue().decode("ascii")
    assert "Turn by 12? in the ?A range." in shown
    assert "CAUTION" in shown


def test_no_line_is_wider_than_the_window():
    out = io.StringIO()
    prompts = Prompts(Console(file=out, width=60, _environ={}))
    for _ in range(2):
        prompts.pose(Prompt("k", "confirm", "word " * 60, caution="word " * 60))
    assert max(len(line.rstrip()) for line in out.getvalue().splitlines()) == 60


def test_another_caution_or_none_between_makes_a_block_again(plain_console):
    prompts = Prompts(plain_console)
    for caution in ("Line in.", "Line in.", "Profile set.", "", "Profile set."):
        prompts.pose(Prompt("k", "confirm", "Done?", caution=caution))
    lines = plain_console.file.getvalue().splitlines()
    assert sum(line.startswith("CAUTION still: ") for line in lines) == 1
    assert sum("CAUTION" in line for line in lines) == 4
