"""Write a profile from what the technician types: commands, answers, and what they mean.

Nothing here is guessed from a manual: each pattern is made from an answer that the instrument
gave, and the sign of DDM from which tone did predominate then.
"""

from __future__ import annotations

from typing import Final

from daq.errors import InputError, ProfileError
from daq.reading import QUANTITIES
from daq.roles import InstrumentClass
from daq.toml_file import check_toml, did_you_mean
from daq.trial import Draft
from drivers.profile import Profile
from drivers.profile_asking import Ask, Dictation
from drivers.profile_draft_quantity import draft_quantity
from drivers.profile_pattern import Part, literal, pattern_for
from drivers.profile_text import profile_text

_ENDS: Final = {"CR": "\r", "LF": "\n", "CR LF": "\r\n"}
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
        Several times in a row an answer could not be used, or no quantity was named.
    """
    interview = _Interview(Dictation(ask))
    data: dict[str, object] = {
        "instrument": interview.instrument(),
        "link": interview.link(),
        "identification": interview.identification(),
    }
    quantities = interview.quantities()
    if not quantities:
        raise InputError("A profile that reads nothing is of no use.")
    data["quantity"] = quantities
    text = profile_text(data)
    try:
        check_toml(text, Profile, ProfileError, name="the new profile")
    except ProfileError as error:
        raise InputError(f"These answers make no profile: {error}") from error
    return Draft(text, "\n".join(interview.dictation.said) + "\n")


class _Interview:
    """Asks for one table after the other."""

    def __init__(self, dictation: Dictation) -> None:
        self.dictation = dictation

    def instrument(self) -> dict[str, object]:
        """Ask what it is."""
        kinds = tuple(str(kind) for kind in InstrumentClass)
        return {
            "class": self.dictation.one_of("What is it?", kinds),
            "description": self.dictation.line("Describe it in a few words (maker, model):"),
        }

    def link(self) -> dict[str, object]:
        """Ask how messages look, and who begins."""
        self.dictation.talks = not self.dictation.yes(
            "Does it answer when it is asked? No: it talks on its own."
        )
        section: dict[str, object] = {"write_terminator": "\r"}
        if not self.dictation.talks:
            section["write_terminator"] = _ENDS[
                self.dictation.one_of("What ends a command?", tuple(_ENDS))
            ]
        end = self.dictation.one_of("What ends an answer, or a line that it says?", tuple(_ENDS))
        section["read_terminator"] = _ENDS[end]
        section["timeout_s"] = self.dictation.number("How long may that take, seconds?", _positive)
        if self.dictation.talks:
            section["streaming"] = True
        baud = self.dictation.checked("Baud rate of its serial line (empty: it has none)?", _baud)
        return section | ({"baud_rate": baud} if baud else {})

    def identification(self) -> dict[str, object]:
        """Ask who it says it is, and which part of that is what."""
        if self.dictation.talks:
            answer = self.dictation.answer("")
            question = "Which part of that stands in every line of it, and in no other's?"
            mark = self.dictation.part_of(answer, question)
            return {"answer": f".*(?P<model>{literal(mark)}).*"}
        query = self.dictation.text("Which command asks who it is, such as *IDN?")
        answer = self.dictation.answer(query)
        parts: list[Part] = []
        for name in _IDENTITY_PARTS:
            question = f"Which part of that is the {name} (empty: none)?"
            if part := self.dictation.part_of(answer, question, instead="", taken=parts):
                # Maker and model have to come again as they are; the rest is this one's own.
                fixed = name in ("maker", "model")
                parts.append((part, name, literal(part) if fixed else r"\S+?"))
        return {"query": query, "answer": pattern_for(answer, parts)}

    def quantities(self) -> dict[str, object]:
        """Ask for quantities until an empty line comes."""
        sections: dict[str, object] = {}
        while name := self.dictation.checked(
            "Which quantity does it read (empty: no more)?", _quantity_or_nothing
        ):
            sections[name] = draft_quantity(name, self.dictation)
        return sections


def _quantity_or_nothing(typed: str) -> str:
    if typed and typed not in QUANTITIES:
        known = did_you_mean(typed, QUANTITIES) or "known are " + ", ".join(QUANTITIES)
        raise InputError(f"{typed!r} is no quantity; {known}")
    return typed


def _positive(number: float) -> None:
    if not number > 0.0:
        raise InputError(f"{number:g} is out of range.")


def _baud(typed: str) -> int:
    if typed and not (typed.isascii() and typed.isdecimal() and 0 < int(typed) < 10_000_000):
        raise InputError(f"{typed!r} is no baud rate.")
    return int(typed or 0)
