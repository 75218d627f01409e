"""What one question to an instrument may say, and what its answer means: ``[quantity.<name>]``."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from daq.frozen import NoiseFloor
from daq.reading import QUANTITIES, Quality
from daq.toml_file import did_you_mean
from drivers.accuracy import Accuracy
from drivers.units import AnswerUnit, si_scale

CHANNEL: Final = "{channel}"
"""Stands in a command, or in an answer's pattern, for the channel that is asked about."""

_TOKENS: Final = re.compile(r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|.", re.DOTALL)
"""Of a regular expression: an escaped character, a set, or any other character."""

_PLACEHOLDER: Final = re.compile(r"\{[^}]*\}?")


def _is_pattern(text: str) -> str:
    try:
        re.compile(text)
    except re.error as exc:
        raise ValueError(f"This is no regular expression: {exc}.") from exc
    return text


def _is_command(text: str) -> str:
    for found in _PLACEHOLDER.findall(text):
        if found != CHANNEL:
            raise ValueError(f"{found!r} is no placeholder; only {CHANNEL} is.")
    if not text.isprintable():
        raise ValueError("A command holds printable characters; its end is write_terminator.")
    return text


Pattern = Annotated[str, AfterValidator(_is_pattern)]
Command = Annotated[str, AfterValidator(_is_command)]
Seconds = Annotated[float, Field(gt=0, le=600, allow_inf_nan=False)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


class Section(BaseModel):
    """A table of a profile; it cannot be changed, and knows every key that it may have."""

    model_config = ConfigDict(frozen=True, extra="forbid")


EXACT: Final = Accuracy(coverage="k=1")
"""Of what stands for a number exactly."""


class NoiseSection(Section):
    """``noise = {…}`` of a quantity: what never stands still, in the answer's unit.

    `sigma` is a lower bound of the standard deviation of single readings; see `daq.frozen`.
    """

    sigma: float = Field(gt=0, allow_inf_nan=False)
    resolution: float = Field(gt=0, allow_inf_nan=False)
    update_s: float = Field(default=0.0, ge=0, le=600)

    def floor(self) -> NoiseFloor:
        """Return it as the detector of frozen values wants it."""
        return NoiseFloor(self.sigma, self.resolution, self.update_s)


class QuantitySection(Section):
    """``[quantity.<name>]``: one question and how to read its answer.

    `start` begins a measurement that takes long; `done` then says how its end is known: by
    ``*OPC?`` (the answer comes when it is over) or by ``*ESR?`` (asked again and again until the
    bit that ``*OPC`` sets is there). Instruments differ in which of the two they are honest about.
    `no_value` is what stands in the place of the value where there is none, such as ``-+``.
    `values` is for an answer in words: which number each stands for, in `unit`. A word stands for
    its number exactly, so such a quantity has neither `accuracy` nor `noise`, and no deviation is
    told by words. An alarm is there or not: 1 or 0.
    """

    name: str
    start: Command = ""
    done: Literal["*OPC?", "*ESR?"] | None = None
    query: Command = ""
    answer: Pattern = "(?P<value>.+)"
    unit: AnswerUnit
    positive_tone: Literal[90, 150] | None = None
    status: dict[str, Quality] = {}
    no_value: Pattern = ""
    values: dict[str, Number] = {}
    timeout_s: Seconds | None = None
    noise: NoiseSection | None = None
    accuracy: tuple[Accuracy, ...] = Field(default=(), validate_default=True)

    @property
    def channel_texts(self) -> str:
        """Everything in which ``{channel}`` may stand, in one piece."""
        return self.query + self.start + self.answer

    @property
    def names_a_channel(self) -> bool:
        """Whether it can only be asked, or its answer only be read, for one channel."""
        return CHANNEL in self.channel_texts

    @field_validator("answer")
    @classmethod
    def _has_a_value(cls, text: str) -> str:
        groups = set(re.compile(text).groupindex)
        if "value" not in groups or groups - {"value", "status", "stamp"}:
            raise ValueError(
                "The pattern needs a group (?P<value>…), and may have (?P<status>…) and "
                "(?P<stamp>…), a time stamp or count of the instrument's own."
            )
        return text

    @field_validator("values")
    @classmethod
    def _are_words(cls, words: dict[str, float], info: ValidationInfo) -> dict[str, float]:
        name = info.data.get("name")
        if name == "ddm":
            raise ValueError("A word stands for its number exactly, and no ddm is exact.")
        if not words:
            raise ValueError("Name each word that may come, and the number it stands for.")
        for word, number in words.items():
            if not word or word != word.strip():
                raise ValueError(f"{word!r} never comes: an answer is stripped of its spaces.")
            if not _may_hold(info.data.get("answer", ""), word):
                raise ValueError(f"{word!r} never comes: the group value of answer is never that.")
            if name == "alarm" and number not in (0.0, 1.0):
                raise ValueError(f"{word!r}: an alarm is there, 1, or not, 0.")
        return words

    @field_validator("accuracy")
    @classmethod
    def _fits_the_answer(
        cls, lines: tuple[Accuracy, ...], info: ValidationInfo
    ) -> tuple[Accuracy, ...]:
        if "values" not in info.data:
            return lines  # its own fault is told already
        if info.data["values"]:
            if lines:
                raise ValueError("Words (`values`) stand for their numbers exactly: leave it out.")
            return (EXACT,)
        if not lines:
            raise ValueError("At least one line of accuracy is needed.")
        return _ascending(lines)

    @model_validator(mode="after")
    def _fits_the_quantity(self) -> Self:
        if self.name not in QUANTITIES:
            known = did_you_mean(self.name, QUANTITIES) or "known are " + ", ".join(QUANTITIES)
            raise ValueError(f"{self.name!r} is no quantity; {known}")
        if si_scale(self.unit)[1] != QUANTITIES[self.name]:
            raise ValueError(f"{self.name} is not measured in {self.unit}.")
        if self.unit == "uA" and self.name != "ddm":
            raise ValueError(f"Only ddm is measured in uA, not {self.name}.")
        if (self.name == "ddm") != (self.positive_tone is not None):
            raise ValueError(
                "ddm needs positive_tone, the tone that predominates when the answer is "
                "positive (90 or 150), and nothing else has it."
            )
        return self

    @model_validator(mode="after")
    def _words_are_read_as_words(self) -> Self:
        if self.values and self.noise:
            raise ValueError("Words (`values`) do not scatter: leave noise out.")
        hidden = [word for word in self.values if re.fullmatch(self.no_value, word)]
        if hidden:
            raise ValueError(f"{hidden[0]!r} is in values, and no_value takes it for none.")
        return self

    @model_validator(mode="after")
    def _is_started_and_waited_for(self) -> Self:
        if bool(self.start) != (self.done is not None):
            raise ValueError("start and done belong together.")
        return self

    @model_validator(mode="after")
    def _status_is_explained(self) -> Self:
        if "status" in re.compile(self.answer).groupindex and not self.status:
            raise ValueError("The answer has a status: say in `status` what its values mean.")
        return self


def _may_hold(answer: str, word: str) -> bool:
    """Whether the group `value` of a pattern may be a word, with spaces about it or without."""
    inner = _value_group(answer)
    try:
        pattern = re.compile(inner, re.compile(answer).flags)
    except re.error:
        return True  # it refers to what stands outside: nothing is known
    spaced = (word, f" {word}", f"{word} ", f" {word} ")
    return CHANNEL in inner or any(pattern.fullmatch(each) for each in spaced)


def _value_group(answer: str) -> str:
    """Return what stands in the group `value`; what matches everything where there is none."""
    _, found, rest = answer.partition("(?P<value>")
    if not found:
        return ".*"
    depth = 1
    for token in _TOKENS.finditer(rest):
        depth += {"(": 1, ")": -1}.get(token[0], 0)
        if depth == 0:
            return rest[: token.start()]
    return ".*"


def _ascending(lines: tuple[Accuracy, ...]) -> tuple[Accuracy, ...]:
    limits = [line.up_to for line in lines[:-1]]
    bounded = [limit for limit in limits if limit is not None]
    if len(bounded) < len(limits) or bounded != sorted(bounded):
        raise ValueError("Every line but the last needs up_to, in ascending order.")
    return lines
