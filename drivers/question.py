"""One quantity on one channel: what is asked, and how its answers become readings."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from daq.clock import Clock
from daq.errors import AnswerError
from daq.frozen import FrozenWatch
from daq.reading import Quality, Reading, impossible_ddm
from daq.scpi import Number, parse_number
from drivers.accuracy import standard_uncertainty
from drivers.profile_quantity import CHANNEL, QuantitySection
from drivers.units import si_scale, suffix_of


@dataclass(frozen=True, slots=True)
class Heard:
    """An answer that fits its question.

    Attributes
    ----------
    text
        The whole answer.
    figures
        The part of it that is the value.
    stamp
        The instrument's own time stamp; empty where it sends none.
    number
        The value in the answer's unit and the instrument's own sign.
    """

    text: str
    figures: str
    stamp: str
    number: Number


class Question:
    """Everything about one quantity that does not change from reading to reading.

    Parameters
    ----------
    section
        The profile's words about it.
    channel
        The input asked about; empty where there is only one.
    timeout_s
        Limit of an answer where the section names none, seconds.
    """

    def __init__(self, section: QuantitySection, channel: str, timeout_s: float) -> None:
        self.section = section
        self.command = section.query.replace(CHANNEL, channel)
        self.start = section.start.replace(CHANNEL, channel)
        self.timeout_s = section.timeout_s or timeout_s
        self._pattern = re.compile(section.answer.replace(CHANNEL, re.escape(channel)))
        self._has_status = "status" in self._pattern.groupindex
        self._has_stamp = "stamp" in self._pattern.groupindex
        self._no_value = re.compile(section.no_value) if section.no_value else None
        self._suffix = suffix_of(section.unit)
        self._scale = si_scale(section.unit)[0]
        self._sign = -1.0 if section.positive_tone == 90 else 1.0
        self._frozen = FrozenWatch(section.noise.floor() if section.noise else None)

    def fits(self, text: str) -> bool:
        """Whether `text` has the form of an answer to this question."""
        return self._pattern.fullmatch(text) is not None

    def hear(self, text: str) -> Heard:
        """Read an answer.

        Raises
        ------
        AnswerError
            It does not fit, holds no number, or a word or a status that the profile does not
            explain.
        """
        answer = self._pattern.fullmatch(text)
        if answer is None:
            raise AnswerError(
                "The answer does not fit the question.",
                hint="look for another program on the line, and at the profile's pattern.",
            )
        stamp = answer["stamp"] if self._has_stamp else ""
        return Heard(text, answer["value"], stamp, self._number(answer))

    def reading(
        self, heard: Heard, *, source: str, point: str, clock: Clock, began_ns: int
    ) -> Reading:
        """Return the reading that an answer is, taken now, in SI and with 150 Hz positive."""
        mono_ns = clock.monotonic_ns()
        number, section = heard.number, self.section
        value, quality = self._sign * self._scale * number.value, number.quality
        u = self._scale * standard_uncertainty(section.accuracy, number.value)
        if section.name == "ddm" and impossible_ddm(value, u):
            quality = Quality.IMPOSSIBLE
        followed = self._frozen.see(heard.figures, mono_ns, stamp=heard.stamp)
        return Reading(
            quantity=section.name,
            value=value,
            u=u,
            source=source,
            point=point,
            utc_ns=clock.utc_ns(),
            mono_ns=mono_ns,
            took_ns=mono_ns - began_ns,
            quality=followed if quality is Quality.OK else quality,
            raw=heard.text,
        )

    def _number(self, answer: re.Match[str]) -> Number:
        section = self.section
        if self._has_status:
            status = answer["status"]
            if status not in section.status:
                raise AnswerError(f"The status {status!r} is not explained in the profile.")
            if section.status[status] is not Quality.OK:
                # Where the instrument itself says that it is no good, there is no number.
                return Number(math.nan, section.status[status])
        if self._no_value is not None and self._no_value.fullmatch(answer["value"].strip()):
            return Number(math.nan, Quality.NO_VALUE)
        if section.values:
            return Number(self._meant(answer["value"].strip()), Quality.OK)
        number = parse_number(answer["value"], unit=self._suffix)
        if self._sign < 0 and number.quality in (Quality.OVER, Quality.UNDER):
            flipped = Quality.UNDER if number.quality is Quality.OVER else Quality.OVER
            return Number(number.value, flipped)
        return number

    def _meant(self, word: str) -> float:
        values = self.section.values
        if word not in values:
            raise AnswerError(
                f"The word {word!r} is not explained in the profile; {', '.join(values)} are.",
                hint=f"[quantity.{self.section.name}] `values` says what each word stands for.",
            )
        return values[word]
