"""Draw a watched value: redrawn in place on a terminal, a line a second anywhere else."""

from __future__ import annotations

from typing import Final

from rich.console import Console
from rich.live import Live
from rich.text import Text

from daq.roles import WatchView
from procedures.terminal.format import printable
from procedures.terminal.frame import Line, block, one_line, reference_line
from procedures.terminal.screen import columns, say, speaks_unicode

REDRAW_NS: Final = 1_000_000_000 // 15
"""Least time between two drawings: what a slow remote link carries and an eye can follow."""

LINE_NS: Final = 1_000_000_000
"""Least time between two lines where nothing can be redrawn."""

_STYLES: Final = {"plain": "", "strong": "bold", "good": "bold green"}


class LiveDisplay:
    """The picture of one watched value at a time.

    Time is that of the readings, so a replay is drawn as the watch was.

    Parameters
    ----------
    console
        Where to draw.
    keys_help
        What the keys do; shown once under each instruction, empty where nobody presses any.
    """

    def __init__(self, console: Console, *, keys_help: str = "") -> None:
        self._console = console
        self._keys_help = keys_help
        self._redraws = console.is_terminal and not console.is_dumb_terminal
        self._live: Live | None = None
        self._key = ""
        self._drawn_ns = 0
        self._note = ""

    def begins(self, view: WatchView) -> bool:
        """Whether the view is the first of another watch than the one on the screen."""
        return self._key != view.key

    def show(self, view: WatchView, *, note: str = "", now: bool = False) -> None:
        """Draw the view unless the last drawing is too recent.

        Parameters
        ----------
        note
            A question or an advice of the moment; a new one is drawn at once.
        now
            Draw in any case.
        """
        begins = self.begins(view)
        if begins:
            self.finish()
            self._begin(view)
        pause_ns = REDRAW_NS if self._redraws else LINE_NS
        due = abs(view.reading.mono_ns - self._drawn_ns) >= pause_ns
        if begins or now or due or note != self._note:
            self._draw(view, note)
            self._drawn_ns = view.reading.mono_ns
            self._note = note

    def finish(self) -> None:
        """Leave the last picture where it is and go on below it; harmless when repeated."""
        self._key = ""
        self._note = ""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def _begin(self, view: WatchView) -> None:
        self._key = view.key
        say(self._console, "")
        say(self._console, view.instruction, style="bold")
        if view.control:
            say(self._console, f"Control: {view.control}")
        if self._keys_help:
            say(self._console, self._keys_help)
        if self._redraws:
            self._live = Live(
                console=self._console,
                auto_refresh=False,
                redirect_stdout=False,
                redirect_stderr=False,
            )
            self._live.start()
            # A program that is killed leaves no terminal without a cursor behind.
            self._console.show_cursor(True)

    def _draw(self, view: WatchView, note: str) -> None:
        width = columns(self._console)
        if self._live is None:
            say(self._console, one_line(view, width))
            if beside := reference_line(view, width):
                say(self._console, beside)
            if note and note != self._note:
                say(self._console, f">>> {printable(note)}")
            return
        lines = block(view, width, note=note, unicode=speaks_unicode(self._console))
        self._live.update(Text("\n").join(map(_styled, lines)), refresh=True)


def _styled(line: Line) -> Text:
    return Text(line.text, style=_STYLES[line.weight], no_wrap=True, overflow="crop")
