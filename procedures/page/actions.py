"""What a screen asks for, as the lines and keys that a person at the terminal would type."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from daq.errors import InputError
from procedures.page.hub import Hub
from procedures.page.offers import Offers
from procedures.terminal.format import printable
from procedures.terminal.numbers import typed_number

Deed = Literal["yes", "no", "say", "capture", "redo", "stop"]
MAX_TEXT: Final = 500

_WATCH_KEYS: Final[Mapping[str, tuple[str, ...]]] = {
    "capture": ("c",),
    "redo": ("r",),
    "stop": ("q", "q"),
}


@dataclass(frozen=True, slots=True)
class Wish:
    """One action of a screen.

    Attributes
    ----------
    question
        Id of the question or the watch that the screen saw.
    do
        What it wants done.
    text
        What was typed, for ``say``.
    """

    question: str
    do: str
    text: str = ""


class Stale(InputError):
    """The question is closed, or somebody else has answered it."""


def act(wish: Wish, hub: Hub, offers: Offers) -> None:
    """Hand a screen's wish to the run.

    Raises
    ------
    Stale
        That question is no longer open.
    InputError
        The question cannot be answered like that.
    """
    prompt, view = hub.now("prompt"), hub.now("view")
    if wish.question and wish.question == prompt.get("id"):
        typed = _typed(wish, prompt)
    elif wish.question and wish.question == view.get("id"):
        typed = _keys(wish, view)
    else:
        raise Stale("That question is no longer open.")
    if not offers.offer(wish.question, typed):
        raise Stale("Somebody else was quicker.")


def _typed(wish: Wish, prompt: Mapping[str, object]) -> tuple[str, ...]:
    kind = prompt.get("kind")
    if wish.do == "stop":
        return ("q", "y")
    if wish.do in ("yes", "no") and kind in ("acknowledge", "confirm"):
        return (wish.do,)
    if wish.do == "say" and kind == "number":
        typed_number(wish.text, str(prompt.get("unit", "")))
        return (printable(wish.text),)
    if wish.do == "say" and kind == "text":
        return (_line(wish.text),)
    raise InputError(f"A question of the kind '{kind}' is not answered by '{wish.do}'.")


def _line(text: str) -> str:
    line = printable(text).strip()
    if not line or len(line) > MAX_TEXT:
        raise InputError(f"A line of text with 1 to {MAX_TEXT} characters is expected.")
    if line.lower() == "q":
        raise InputError("A single q would stop the run; write it out, or use 'Stop the run'.")
    return line


def _keys(wish: Wish, view: Mapping[str, object]) -> tuple[str, ...]:
    keys = _WATCH_KEYS.get(wish.do)
    if keys is None:
        raise InputError(f"A watched value is not answered by '{wish.do}'.")
    if wish.do == "capture" and view.get("words"):
        raise InputError(f"Nothing to capture: {view['words']}.")
    return keys
