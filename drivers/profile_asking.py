"""Ask a technician at a terminal: each answer is checked, and asked for again when it is no use."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, TypeVar

from daq.errors import InputError, UnitError
from daq.toml_file import did_you_mean
from drivers.profile_pattern import Part, pattern_for

Ask = Callable[[str], str]
"""Shows a question and returns the typed line."""

T = TypeVar("T")

PATIENCE: Final = 5


def _any(_number: float) -> None:
    """Accept every number."""


class Asking:
    """Puts questions of several kinds through one `Ask`.

    Every method raises `InputError` when `PATIENCE` answers in a row were of no use; the last
    reason is told.
    """

    def __init__(self, ask: Ask) -> None:
        self._ask = ask

    def line(self, question: str) -> str:
        """Return what was typed, without the spaces around it; it may be nothing."""
        return self._ask(question).strip()

    def checked(self, question: str, check: Callable[[str], T]) -> T:
        """Return what `check` makes of the typed line; it raises `InputError` for a useless one."""
        said, reason = question, ""
        for _ in range(PATIENCE):
            try:
                return check(self.line(said))
            except (InputError, UnitError) as error:
                reason = str(error)
                said = f"{reason} {question}"
        raise InputError(f"No usable answer to: {question} {reason}")

    def text(self, question: str) -> str:
        """Return something printable."""
        return self.checked(question, _printable)

    def one_of(self, question: str, known: Sequence[str]) -> str:
        """Return one of `known`, however its letters were typed."""

        def check(typed: str) -> str:
            for word in known:
                if word.casefold() == typed.casefold():
                    return word
            raise InputError(f"{typed!r} is none of these.", hint=did_you_mean(typed, known))

        return self.checked(f"{question} ({', '.join(known)})", check)

    def yes(self, question: str) -> bool:
        """Return whether the answer is yes."""
        return self.one_of(question, ("yes", "no")) == "yes"

    def number(
        self, question: str, check: Callable[[float], None] = _any, *, empty: float | None = None
    ) -> float:
        """Return a number.

        Parameters
        ----------
        check
            Raises `InputError` for a number that is of no use.
        empty
            The number that is meant where nothing is typed; None: something has to be.
        """

        def read(typed: str) -> float:
            try:
                number = empty if empty is not None and not typed else float(typed)
            except ValueError as error:
                raise InputError(f"{typed!r} is no number.") from error
            if not abs(number) < 1e12:
                raise InputError(f"{number:g} is out of range.")
            check(number)
            return number

        return self.checked(question, read)

    def part_of(
        self, answer: str, question: str, *, instead: str | None = None, taken: Sequence[Part] = ()
    ) -> str:
        """Return a part of `answer`.

        Parameters
        ----------
        instead
            What is meant where nothing is typed; None: something has to be.
        taken
            Parts that are something else already.
        """

        def check(typed: str) -> str:
            part = typed or instead
            if part is None or part not in answer:
                raise InputError(f"{typed!r} does not stand in {answer!r}.")
            pattern_for(answer, [*taken, (part, "", "")])  # raises where it is taken
            return part

        return self.checked(question, check)


class Dictation(Asking):
    """Questions to somebody who sits beside the instrument and types what it says.

    Attributes
    ----------
    talks
        It talks on its own, and is asked nothing.
    said
        A transcript: what was sent and what came.
    """

    def __init__(self, ask: Ask) -> None:
        super().__init__(ask)
        self.talks = False
        self.said: list[str] = []

    def answer(self, query: str, *, trouble: str = "") -> str:
        """Return what it answers to `query`, or a line of what it says on its own.

        Parameters
        ----------
        trouble
            Why it is asked for again; empty the first time.
        """
        if self.talks:
            came = self.text(f"{trouble} Type a line as it says it:".lstrip())
            self.said.append(f"<- {came}")
            return came
        came = self.text(f"{trouble} Send it, and type what it answers:".lstrip())
        self.said += [f"-> {query}", f"<- {came}"]
        return came

    def take_back(self) -> None:
        """Forget the last answer, which was of no use."""
        del self.said[-1 if self.talks else -2 :]


def _printable(typed: str) -> str:
    if not typed or not typed.isprintable():
        raise InputError("Something printable is needed.")
    return typed
