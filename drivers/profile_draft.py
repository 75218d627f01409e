"""Write a profile from what the technician types: commands, answers, and what they mean.

Nothing here is guessed from a manual: each pattern is made from an answer that the instrument
gave, and the sign of DDM from which tone did predominate then.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Final, TypeVar, get_args

from daq.errors import AnswerError, InputError, ProfileError, UnitError
from daq.reading import QUANTITIES
from daq.roles import InstrumentClass
from daq.scpi import parse_number
from daq.toml_file import check_toml, did_you_mean
from daq.trial import Draft
from drivers.profile import Profile
from drivers.profile_text import profile_text
from drivers.units import AnswerUnit, si_scale, suffix_of

Ask = Callable[[str], str]
T = TypeVar("T")

_PATIENCE: Final = 5
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_ENDS: Final = {"CR": "\r", "LF": "\n", "CR LF": "\r\n"}
_UNITS: Final[tuple[AnswerUnit, ...]] = get_args(AnswerUnit)
_IDENTITY_PARTS: Final = ("maker", "model", "serial", "firmware")


def draft_profile(ask: Ask) -> Draft:
    """Ask for what a profile needs and return its text, which loads, and the typed transcript.

    Parameters
    ----------
    ask
        Shows a question and returns the typed line.

    Raises
    ------
    InputError
        Five times in a row an answer could not be used, or no quantity was named.
    """
    writer = _Interview(ask)
    data: dict[str, object] = {
        "instrument": writer.instrument(),
        "link": writer.link(),
        "identification": writer.identification(),
    }
    quantities = writer.quantities()
    if not quantities:
        raise InputError("A profile that reads nothing is of no use.")
    data["quantity"] = quantities
    text = profile_text(data)
    try:
        check_toml(text, Profile, ProfileError, name="the new profile")
    except ProfileError as error:
        raise InputError(f"These answers make no profile: {error}") from error
    return Draft(text, "\n".join(writer.said) + "\n")


class _Interview:
    """Asks, checks each answer, and asks again; keeps what was sent and came."""

    def __init__(self, ask: Ask) -> None:
        self._ask = ask
        self.said: list[str] = []

    def instrument(self) -> dict[str, object]:
        """Ask what it is."""
        kinds = tuple(str(kind) for kind in InstrumentClass)
        return {
            "class": self._one_of("What is it?", kinds),
            "description": self._ask("Describe it in a few words (maker, model):").strip(),
        }

    def link(self) -> dict[str, object]:
        """Ask how messages look."""
        section: dict[str, object] = {
            "write_terminator": _ENDS[self._one_of("What ends a command?", tuple(_ENDS))],
            "read_terminator": _ENDS[self._one_of("What ends an answer?", tuple(_ENDS))],
            "timeout_s": self._number("How long may an answer take, seconds?", above=0.0),
        }
        baud = self._checked("Baud rate of its serial line (empty: it has none)?", _baud)
        return section | ({"baud_rate": baud} if baud else {})

    def identification(self) -> dict[str, object]:
        """Ask who it says it is, and which part of that is what."""
        query = self._command("Which command asks who it is, such as *IDN?")
        answer = self._answer(query)
        parts: list[tuple[str, str, str]] = []
        for name in _IDENTITY_PARTS:
            part = self._part_of(answer, f"Which part of that is the {name} (empty: none)?")
            if part:
                # Maker and model have to come again as they are; the rest is this one's own.
                fixed = name in ("maker", "model")
                parts.append((part, name, re.escape(part) if fixed else r"\S+?"))
        return {"query": query, "answer": pattern_for(answer, parts)}

    def quantities(self) -> dict[str, object]:
        """Ask for quantities until an empty line comes."""
        sections: dict[str, object] = {}
        while name := self._checked(
            "Which quantity does it read (empty: no more)?", _quantity_or_nothing
        ):
            sections[name] = self._quantity(name)
        return sections

    def _quantity(self, name: str) -> dict[str, object]:
        query = self._command(f"Which command asks for {name}?")
        if name == "ddm":
            self._ask("Now make one tone predominate on purpose; press Enter when it does.")
        answer = self._answer(query)
        numbers = _NUMBER.findall(answer)
        value = (
            numbers[0]
            if len(numbers) == 1
            else self._part_of(answer, "Which part of that is the value?", needed=True)
        )
        unit = self._unit(name)
        number = _number_in(value, unit)
        good = self._part_of(answer, "Which part says that it is valid (empty: none)?")
        parts = [(value, "value", r"\S+?")] + ([(good, "status", r"\S+")] if good else [])
        section: dict[str, object] = {
            "query": query,
            "answer": pattern_for(answer, parts),
            "unit": unit,
        }
        if name == "ddm":
            if number == 0.0:
                raise InputError(
                    "An answer of zero does not show the sign.",
                    hint="make one tone predominate on purpose and begin anew.",
                )
            section["positive_tone"] = self._positive_tone(number)
        if good:
            section["status"] = {good: "ok"}
        return section | {"accuracy": [self._accuracy(unit)]}

    def _unit(self, name: str) -> AnswerUnit:
        fitting = {str(unit): unit for unit in _UNITS if _suits(name, unit)}
        if len(fitting) == 1:
            return next(iter(fitting.values()))
        return fitting[self._one_of("In which unit is that?", tuple(fitting))]

    def _positive_tone(self, number: float) -> int:
        tone = int(self._one_of("Which tone did predominate when it said that?", ("90", "150")))
        return tone if number > 0 else 240 - tone

    def _accuracy(self, unit: str) -> dict[str, object]:
        percent = self._number("Its limit of error, per cent of the reading?")
        floor = self._number(f"And the constant part, in {unit or 'ratio'}?")
        if percent == floor == 0.0:
            raise InputError("No instrument is without error.", hint="look into its data sheet.")
        return {"percent": percent, "floor": floor, "coverage": "rectangular"}

    def _answer(self, query: str) -> str:
        answer = self._checked("Send it, and type what it answers:", _needed)
        self.said += [f"-> {query}", f"<- {answer}"]
        return answer

    def _command(self, question: str) -> str:
        return self._checked(question, _needed)

    def _part_of(self, answer: str, question: str, *, needed: bool = False) -> str:
        def check(typed: str) -> str:
            part = typed.strip()
            if part not in answer or (needed and not part):
                raise InputError(f"{part!r} does not stand in {answer!r}.")
            return part

        return self._checked(question, check)

    def _one_of(self, question: str, known: Sequence[str]) -> str:
        def check(typed: str) -> str:
            for word in known:
                if word.casefold() == typed.strip().casefold():
                    return word
            raise InputError(
                f"{typed.strip()!r} is none of these.", hint=did_you_mean(typed, known)
            )

        return self._checked(f"{question} ({', '.join(known)})", check)

    def _number(self, question: str, *, above: float = -1e-300) -> float:
        def check(typed: str) -> float:
            try:
                number = float(typed.strip() or "0")
            except ValueError as error:
                raise InputError(f"{typed.strip()!r} is no number.") from error
            if not above < number < 1e12:
                raise InputError(f"{number:g} is out of range.")
            return number

        return self._checked(question, check)

    def _checked(self, question: str, check: Callable[[str], T]) -> T:
        said = question
        for _ in range(_PATIENCE):
            try:
                return check(self._ask(said))
            except (InputError, UnitError) as error:
                said = f"{error} {question}"
        raise InputError(f"No usable answer to: {question}")


def pattern_for(answer: str, parts: Sequence[tuple[str, str, str]]) -> str:
    """Return a regular expression for answers like `answer`.

    Parameters
    ----------
    answer
        An answer as it came.
    parts
        Text of a part, the name of its group, and what may stand there; the first place where the
        text stands and that is still free is taken.
    """
    places: list[tuple[int, int, str]] = []
    for text, name, inside in parts:
        start = _free_place(answer, text, places)
        places.append((start, start + len(text), f"(?P<{name}>{inside})"))
    pattern, done = "", 0
    for start, stop, group in sorted(places):
        pattern += re.escape(answer[done:start]) + group
        done = stop
    return pattern + re.escape(answer[done:])


def _free_place(answer: str, text: str, taken: Sequence[tuple[int, int, str]]) -> int:
    start = answer.find(text)
    while start >= 0:
        if all(start + len(text) <= first or start >= last for first, last, _ in taken):
            return start
        start = answer.find(text, start + 1)
    raise InputError(f"{text!r} cannot mean two things in {answer!r}.")


def _suits(quantity: str, unit: AnswerUnit) -> bool:
    return si_scale(unit)[1] == QUANTITIES[quantity] and (unit != "uA" or quantity == "ddm")


def _number_in(value: str, unit: AnswerUnit) -> float:
    try:
        return parse_number(value, unit=suffix_of(unit)).value
    except AnswerError as error:
        raise InputError(f"{value!r} is no number in {unit}: {error.message}") from error


def _quantity_or_nothing(typed: str) -> str:
    name = typed.strip()
    if name and name not in QUANTITIES:
        known = did_you_mean(name, QUANTITIES) or "known are " + ", ".join(QUANTITIES)
        raise InputError(f"{name!r} is no quantity; {known}")
    return name


def _needed(typed: str) -> str:
    text = typed.strip()
    if not text or not text.isprintable():
        raise InputError("Something printable is needed.")
    return text


def _baud(typed: str) -> int:
    text = typed.strip()
    if text and not (text.isascii() and text.isdecimal() and 0 < int(text) < 10_000_000):
        raise InputError(f"{text!r} is no baud rate.")
    return int(text or 0)
