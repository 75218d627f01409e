"""What reaches the screen, and how often."""

from __future__ import annotations

import io

from rich.console import Console

from procedures.terminal.live import LiveDisplay


def lines(console: Console, start: str) -> list[str]:
    assert isinstance(console.file, io.StringIO)
    return [line for line in console.file.getvalue().splitlines() if line.startswith(start)]


def test_a_pipe_gets_a_line_a_second(plain_console, make_view):
    display = LiveDisplay(plain_console)
    for tenth in range(35):
        display.show(make_view(at_s=tenth / 10))
    assert [line[:5] for line in lines(plain_console, "00:")] == [
        "00:00",
        "00:01",
        "00:02",
        "00:03",
    ]
    assert "\x1b" not in plain_console.file.getvalue()


def test_a_pipe_gets_the_difference_from_the_reference_under_each_line(plain_console, make_view):
    display = LiveDisplay(plain_console)
    for second in range(2):
        display.show(make_view(0.1549 + 0.0002 * second, at_s=second, reference=0.1553))
    assert lines(plain_console, "       reference") == [
        "       reference 155.3 150 Hz, differs by -0.4, toward 90 Hz",
        "       reference 155.3 150 Hz, differs by -0.2, toward 90 Hz",
    ]


def test_a_screen_is_redrawn_at_most_15_times_a_second(screen_console, make_view):
    display = LiveDisplay(screen_console)
    for hundredth in range(201):
        display.show(make_view(at_s=hundredth / 100))
    display.finish()
    drawings = screen_console.file.getvalue().count("target 155.0")
    assert 24 <= drawings <= 2 * 15 + 2, "the last one is drawn once more when the watch ends"


def test_the_instruction_is_shown_once_a_watch(plain_console, make_view):
    display = LiveDisplay(plain_console, keys_help="Keys: c")
    for at_s, key in [(0.0, "width"), (2.0, "width"), (0.0, "null"), (2.0, "null")]:
        display.show(make_view(at_s=at_s, key=key))
    assert len(lines(plain_console, "Turn 'SBO level'")) == 2
    assert len(lines(plain_console, "Keys: c")) == 2


def test_a_note_is_shown_at_once(plain_console, make_view):
    display = LiveDisplay(plain_console)
    display.show(make_view(at_s=0.0))
    display.show(make_view(at_s=0.1), note="Stop the run?")
    display.show(make_view(at_s=0.2), note="Stop the run?")
    assert lines(plain_console, ">>>") == [">>> Stop the run?"]


def test_the_cursor_is_never_left_hidden(screen_console, make_view):
    """A killed program cannot bring it back (DECTCEM: ESC [ ? 25 l hides, h shows)."""
    display = LiveDisplay(screen_console)
    display.show(make_view())
    shown = screen_console.file.getvalue()
    assert shown.rindex("\x1b[?25h") > shown.rindex("\x1b[?25l")


def test_without_colour_the_same_words_are_shown(make_view):
    """NO_COLOR (no-color.org) takes the colours away; nothing that matters goes with them."""
    outputs = []
    for environment in ({"TERM": "xterm"}, {"TERM": "xterm", "NO_COLOR": "1"}):
        out = io.StringIO()
        console = Console(file=out, width=60, force_terminal=True, _environ=environment)
        LiveDisplay(console).show(make_view(0.1552, reference=0.1553))
        outputs.append(out.getvalue())
    assert "\x1b[1;32m" in outputs[0]
    assert "32m" not in outputs[1]
    for output in outputs:
        assert "IN THE BAND" in output
        assert "150 Hz predominates" in output
        assert "differs by -0.1, toward 90 Hz" in output


def test_hostile_names_are_shown_as_they_are(screen_console, make_view):
    view = make_view(control="[bold]SBO[/bold]\x1b[2J", instruction="[red]turn[/]\x1b]0;x\x07")
    LiveDisplay(screen_console).show(view)
    shown = screen_console.file.getvalue()
    assert "Control: [bold]SBO[/bold]?[2J" in shown
    assert "[red]turn[/]?]0;x?" in shown
