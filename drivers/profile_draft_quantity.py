"""One quantity of a new profile: its question, one answer that came, and what that means."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, get_args

from daq.errors import AnswerError, InputError
from daq.reading import QUANTITIES, Quality
from daq.scpi import parse_number
from drivers.profile_asking import PATIENCE, Dictation
from drivers.profile_pattern import Part, literal, pattern_for
from drivers.units import AnswerUnit, si_scale, suffix_of

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_UNITS: Final[tuple[AnswerUnit, ...]] = get_args(AnswerUnit)
_MEANINGS: Final = tuple(
    str(one) for one in Quality if one not in (Quality.FROZEN, Quality.IMPOSSIBLE)
)


def draft_quantity(name: str, dictation: Dictation) -> dict[str, object]:
    """Ask about one quantity, and return its table for a profile.

    Raises
    ------
    InputError
        Several times in a row an answer could not be used.
    """
    return _QuantityInterview(name, dictation).table()


@dataclass(frozen=True, slots=True)
class _Shown:
    """An answer with a value in it: the text of both, and the value as a number in its unit.

    `values` is what each word stands for, where the value is a word.
    """

    answer: str
    value: str
    values: dict[str, float]
    unit: AnswerUnit
    number: float


class _QuantityInterview:
    """Asks about one quantity; what it is about stays the same from question to question."""

    def __init__(self, name: str, dictation: Dictation) -> None:
        self._name = name
        self._ask = dictation

    def table(self) -> dict[str, object]:
        """Ask, and return what the profile says about it."""
        query = "" if self._ask.talks else self._ask.text(f"Which command asks for {self._name}?")
        shown = self._shown(query)
        parts = [(shown.value, "value", r".+?" if " " in "".join(shown.values) else r"\S+?")]
        status = self._status(shown.answer, parts)
        self._other_parts(shown.answer, parts)
        section: dict[str, object] = {"query": query} if query else {}
        section |= {"answer": pattern_for(shown.answer, parts), "unit": shown.unit}
        if self._name == "ddm":
            section["positive_tone"] = self._positive_tone(shown.number)
        if status:
            section["status"] = status
        if none := self._ask.checked(
            "What stands there when it has no value (empty: nothing does)?",
            lambda typed: _new_word(typed, shown.values),
        ):
            section["no_value"] = literal(none)
        if shown.values:
            return section | {"values": shown.values}
        return section | {"accuracy": [self._accuracy(shown.unit)]}

    def _shown(self, query: str) -> _Shown:
        """Ask for an answer until its value can be read, and shows the sign where it has one."""
        trouble = ""
        for _ in range(PATIENCE):
            if self._name == "ddm":
                made = "Make one tone predominate on purpose; press Enter when it does."
                self._ask.line(f"{trouble} {made}".lstrip())
                trouble = ""
            shown = self._read(self._ask.answer(query, trouble=trouble))
            if isinstance(shown, str):
                trouble = shown
            elif self._name == "ddm" and shown.number == 0.0:
                trouble = "An answer of zero does not show the sign."
            else:
                return shown
            self._ask.take_back()
        raise InputError(f"No usable answer about {self._name}. {trouble}")

    def _read(self, answer: str) -> _Shown | str:
        """Ask where the value stands in an answer; return it, or why it cannot be read."""
        numbers = _NUMBER.findall(answer)
        only = numbers[0] if len(numbers) == 1 else None
        hint = f" (empty: {only})" if only else ""
        value = self._ask.part_of(answer, f"Which part of that is the value{hint}?", instead=only)
        if not _NUMBER.match(value):
            values = self._words(value)
            return _Shown(answer, value, values, self._unit_of_words(), values[value])
        unit = self._unit(answer)
        try:
            number = parse_number(value, unit=suffix_of(unit)).value
        except AnswerError as error:
            return f"{value!r} is no number in {unit}: {error.message}"
        return _Shown(answer, value, {}, unit, number)

    def _words(self, first: str) -> dict[str, float]:
        words = {first: self._ask.number(f"{first!r} is a word: which number does it stand for?")}
        question = "Which other word may stand there (empty: no more)?"
        while word := self._ask.checked(question, lambda typed: _new_word(typed, words)):
            words[word] = self._ask.number(f"Which number does {word!r} stand for?")
        return words

    def _status(self, answer: str, parts: list[Part]) -> dict[str, str]:
        question = "Which part says that it is valid (empty: none)?"
        good = self._ask.part_of(answer, question, instead="", taken=parts)
        if not good:
            return {}
        parts.append((good, "status", r"\S+"))
        status = {good: str(Quality.OK)}
        other = "What else may stand there (empty: nothing)?"
        while word := self._ask.checked(other, lambda typed: _new_word(typed, status)):
            status[word] = self._ask.one_of(f"What does {word!r} mean?", _MEANINGS)
        return status

    def _other_parts(self, answer: str, parts: list[Part]) -> None:
        question = "Which other part of it differs from answer to answer (empty: none)?"
        while part := self._ask.part_of(answer, question, instead="", taken=parts):
            parts.append((part, "", r"\S+?"))

    def _unit(self, answer: str) -> AnswerUnit:
        fitting = _fitting(self._name)
        if len(fitting) == 1:
            return next(iter(fitting.values()))
        return fitting[self._ask.one_of(f"In which unit is that in {answer!r}?", tuple(fitting))]

    def _unit_of_words(self) -> AnswerUnit:
        fitting = _fitting(self._name)
        if "ratio" in fitting and self._name != "ddm":
            return "ratio"
        return fitting[self._ask.one_of("In which unit are these numbers?", tuple(fitting))]

    def _positive_tone(self, number: float) -> int:
        question = "Which tone did predominate when it said that?"
        tone = int(self._ask.one_of(question, ("90", "150")))
        return tone if number > 0 else 240 - tone

    def _accuracy(self, unit: str) -> dict[str, object]:
        percent = self._ask.number(
            "Its limit of error, per cent of the reading (empty: none)?", _not_negative, empty=0.0
        )

        def is_enough(floor: float) -> None:
            _not_negative(floor)
            if percent == floor == 0.0:
                raise InputError("No instrument is without error: look into its data sheet.")

        floor = self._ask.number(
            f"And the constant part, in {unit} (empty: none)?", is_enough, empty=0.0
        )
        return {"percent": percent, "floor": floor, "coverage": "rectangular"}


def _fitting(name: str) -> dict[str, AnswerUnit]:
    """Return the units in which an instrument may answer about a quantity."""
    return {
        str(unit): unit
        for unit in _UNITS
        if si_scale(unit)[1] == QUANTITIES[name] and (unit != "uA" or name == "ddm")
    }


def _new_word(typed: str, words: Iterable[str]) -> str:
    if typed in words:
        raise InputError(f"{typed!r} is explained already.")
    return typed


def _not_negative(number: float) -> None:
    if number < 0.0:
        raise InputError(f"{number:g} is out of range.")
