"""The technician at a terminal: answers prompts, watches, presses keys.

Fulfils `daq.roles.Operator`. Every way out of a run asks once more before it is taken, and a
caution needs a typed word, so that no key pressed twice can acknowledge it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType, TracebackType
from typing import Final, Self, TypeVar

from rich.console import Console

from daq.errors import Aborted, UnitError
from daq.roles import Answer, Prompt, WatchCommand, WatchView
from procedures.terminal.format import called_out, in_words
from procedures.terminal.keys import Keys
from procedures.terminal.live import LiveDisplay
from procedures.terminal.numbers import is_bare, suggested, typed_number
from procedures.terminal.screen import Prompts, say

STOP_QUESTION_NS: Final = 5_000_000_000
"""How long the question whether to stop stands before it lapses."""

NOTE_NS: Final = 2_000_000_000
"""How long it is said why a key did nothing."""

_KEYS_HELP: Final = "Keys: c or Enter = capture, r = begin again, q = stop the run"
_STOP_NOTE: Final = "Stop the run? q again = stop, any other key = go on"
_COMMANDS: Final[Mapping[str, WatchCommand]] = MappingProxyType(
    {"c": "capture", " ": "capture", "\n": "capture", "r": "redo"}
)
_ANSWERS: Final = MappingProxyType({"y": True, "yes": True, "n": False, "no": False})

T = TypeVar("T", bool, float, str)


class TerminalOperator:
    """A person at a terminal.

    Use it as a context manager: leaving it gives the terminal back as it was.

    Parameters
    ----------
    console
        Where prompts and values are shown.
    keys
        Where answers and key presses come from.
    name
        Role under which answers are logged.
    needs_keys
        Whether a watch is stopped once nothing can be typed any more, because nobody could
        capture; False for a watch that ends by itself.
    """

    def __init__(
        self, console: Console, keys: Keys, name: str = "technician", *, needs_keys: bool = True
    ) -> None:
        self._console = console
        self._keys = keys
        self._name = name
        self._needs_keys = needs_keys
        self._prompts = Prompts(console)
        self._display = LiveDisplay(console, keys_help=_KEYS_HELP)
        self._stop_asked_ns: int | None = None
        self._refused_ns: int | None = None

    @property
    def name(self) -> str:
        """Role under which answers are logged."""
        return self._name

    def answer(self, prompt: Prompt) -> Answer:
        """Show the prompt and return what was typed; see `daq.roles.Operator`."""
        self.close()
        self._keys.discard()
        self._prompts.pose(prompt)
        match prompt.kind:
            case "acknowledge":
                return self._acknowledged(bool(prompt.caution))
            case "confirm":
                return self._asked("y = yes, n = no, q = stop:", _yes_or_no)
            case "number":
                return self._number(prompt)
            case "text":
                return self._asked("Type a line, q = stop:", _some_text)

    def watching(self, view: WatchView) -> WatchCommand:
        """Show the view and return what the keys say; see `daq.roles.Operator`."""
        if self._display.begins(view):
            self._keys.discard()
        command, note = self._command(view)
        self._display.show(view, note=note, now=command != "go on")
        if command in ("capture", "abort"):
            self.close()
            say(self._console, _captured(view) if command == "capture" else "Stopped.")
        return command

    def tell(self, text: str) -> None:
        """Show something that needs no answer."""
        self.close()
        say(self._console, text)

    def close(self) -> None:
        """End what is being watched and give the terminal back; harmless when repeated."""
        self._display.finish()
        self._keys.release()
        self._stop_asked_ns = None
        self._refused_ns = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    # Watching -----------------------------------------------------------------------------

    def _command(self, view: WatchView) -> tuple[WatchCommand, str]:
        """Return what the keys say, and the note to show."""
        for key in self._keys.pressed().lower():
            if key == "q":
                if self._stop_asked(view):
                    return "abort", ""
                self._stop_asked_ns = view.reading.mono_ns
                continue
            was_asked = self._stop_asked(view)
            self._stop_asked_ns = None
            command = _COMMANDS.get(key)
            if was_asked or command is None:
                continue
            if command == "capture" and not view.reading.usable:
                self._refused_ns = view.reading.mono_ns
                continue
            return command, ""
        if self._keys.ended and self._needs_keys:
            return "abort", ""
        return "go on", self._note(view)

    def _note(self, view: WatchView) -> str:
        if self._stop_asked(view):
            return _STOP_NOTE
        if _within(view, self._refused_ns, NOTE_NS) and not view.reading.usable:
            return f"Nothing to capture: {in_words(view.reading)}."
        return ""

    def _stop_asked(self, view: WatchView) -> bool:
        return _within(view, self._stop_asked_ns, STOP_QUESTION_NS)

    # Asking -------------------------------------------------------------------------------

    def _acknowledged(self, is_caution: bool) -> bool:
        if is_caution:
            return self._asked("Type yes to acknowledge, no to refuse, q = stop:", _typed_yes)
        return self._asked("Enter = acknowledged, n = no, q = stop:", _enter_or_no)

    def _number(self, prompt: Prompt) -> float:
        unit, suggestion = prompt.unit, prompt.suggestion

        def understood(text: str) -> float:
            if not text.strip() and suggestion is not None:
                return suggestion
            number = typed_number(text, unit)
            if is_bare(text, unit):
                say(self._console, f"Taken as {suggested(number, unit)}.")
            return number

        wanted = f"A number in {unit}" if unit not in ("", "1") else "A number"
        enter = "" if suggestion is None else f", Enter = {suggested(suggestion, unit)}"
        return self._asked(f"{wanted}{enter}, q = stop:", understood)

    def _asked(self, how: str, understood: Callable[[str], T]) -> T:
        """Ask until `understood` takes the answer; its `UnitError` says what was wrong."""
        while True:
            text = self._line(how)
            if text is None or text.strip().lower() == "q":
                self._stop_if_meant()
                continue
            try:
                return understood(text)
            except UnitError as error:
                say(self._console, str(error))

    def _stop_if_meant(self) -> None:
        while True:
            text = self._line("Stop the run? What is recorded is kept. y = stop, n = go on:")
            meant = True if text is None else _ANSWERS.get(text.strip().lower())
            if meant:
                raise Aborted(
                    f"Stopped by the {self._name}." if text is not None else "The input has ended.",
                    hint="what is recorded is kept; `trimbench resume` goes on with it.",
                )
            if meant is False:
                return

    def _line(self, how: str) -> str | None:
        """Return a typed line, None at the end of the input."""
        say(self._console, how, end=" ")
        self._console.file.flush()
        try:
            return self._keys.line()
        except EOFError:
            say(self._console, "")
            return None
        except KeyboardInterrupt:
            say(self._console, "")
            raise


def _within(view: WatchView, since_ns: int | None, span_ns: int) -> bool:
    return since_ns is not None and view.reading.mono_ns - since_ns <= span_ns


def _captured(view: WatchView) -> str:
    """Return what was seen when the key was pressed; where there is a band, on which side of it."""
    seen = f"Captured. It showed {called_out(view.reading.quantity, view.shown)}"
    out = view.target is not None and view.band is not None and not view.in_band
    return f"{seen}, which is out of the band." if out else f"{seen}."


def _yes_or_no(text: str) -> bool:
    answer = _ANSWERS.get(text.strip().lower())
    if answer is None:
        raise UnitError("Please type y or n.")
    return answer


def _enter_or_no(text: str) -> bool:
    return True if not text.strip() else _yes_or_no(text)


def _typed_yes(text: str) -> bool:
    if text.strip().lower() == "yes":
        return True
    if _ANSWERS.get(text.strip().lower()) is False:
        return False
    raise UnitError("This is a caution: it needs the whole word yes, or no.")


def _some_text(text: str) -> str:
    if not text.strip():
        raise UnitError("An empty line is no answer; type - if there is nothing to say.")
    return text.strip()
