"""An instrument whose every command comes from a profile."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import AnswerError, InputError, LinkError
from daq.reading import IMPOSSIBLE_DDM, Quality, Reading
from daq.roles import Identity, InstrumentClass
from daq.scpi import Number, decode_text, parse_number
from drivers.accuracy import standard_uncertainty
from drivers.conversation import Conversation
from drivers.greeting import explain_wrong_answer, greet
from drivers.links.open_link import open_link
from drivers.profile import Profile, QuantitySection
from drivers.session import Gap, Session
from drivers.transcript import Line, Transcript
from drivers.units import si_scale, suffix_of
from drivers.worker import InstrumentWorker

OPEN_LIMIT_S: Final = 5.0
"""Longest wait, seconds, for a link to open."""

RECOVERY_S: Final = 2.0
"""Longest wait, seconds, for a dirty link to come clean, on top of a query's own limit."""


def ignore_gap(gap: Gap) -> None:
    """Do nothing about a gap."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where an instrument is and how patient to be with it.

    Attributes
    ----------
    alias
        Its name in the station file.
    resource
        VISA resource string.
    clock
        For deadlines and time stamps.
    base
        Folder at which relative paths begin.
    on_gap
        Called, in the instrument's own thread, when it is back after a loss.
    open_limit_s, recovery_s
        Seconds for opening and for getting a dirty link clean.
    """

    alias: str
    resource: str
    clock: Clock
    base: Path
    on_gap: Callable[[Gap], None] = ignore_gap
    open_limit_s: float = OPEN_LIMIT_S
    recovery_s: float = RECOVERY_S

    @property
    def label(self) -> str:
        """Alias and resource, for messages."""
        return f"{self.alias} ({self.resource})"


class ProfiledInstrument:
    """Fulfils `daq.roles.Instrument` from a profile. Any thread may call it.

    Parameters
    ----------
    profile
        How to talk to it.
    place
        Where it is.

    Raises
    ------
    BenchError
        It cannot be reached, is another instrument (`IdentityError`), or refuses its set-up.
    """

    def __init__(self, profile: Profile, place: Place) -> None:
        self._profile = profile
        self._place = place
        self._transcript = Transcript(place.clock)
        self._session = Session(
            place.label,
            opener=self._open,
            greet=lambda conversation: greet(conversation, profile, place.label),
            clock=place.clock,
            on_gap=place.on_gap,
        )
        self._worker = InstrumentWorker(place.label)
        try:
            self._identity = self._worker.call(self._session.open, self._limit_s(self._timeout_s))
        except BaseException:
            self.close()
            raise

    @property
    def alias(self) -> str:
        """See `Instrument`."""
        return self._place.alias

    @property
    def instrument_class(self) -> InstrumentClass:
        """See `Instrument`."""
        return self._profile.instrument.instrument_class

    @property
    def identity(self) -> Identity:
        """See `Instrument`."""
        return self._identity

    @property
    def quantities(self) -> frozenset[str]:
        """See `Instrument`."""
        return frozenset(self._profile.quantity)

    def transcript(self) -> tuple[Line, ...]:
        """Return the last lines that went over the wire, oldest first."""
        return self._transcript.lines()

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        """See `Instrument`.

        Raises
        ------
        BenchError
            As `Instrument.measure`; after an error the next call recovers the link first.
        InputError
            The instrument has no such quantity or channel.
        """
        section = self._section(quantity)
        self._check_channel(channel, section.query)
        timeout_s = section.timeout_s or self._timeout_s

        def job(conversation: Conversation) -> Reading:
            began_ns = self._place.clock.monotonic_ns()
            text, number = self._ask(conversation, section, channel, timeout_s)
            return self._reading(quantity, section, text, number, point, began_ns)

        return self._worker.call(lambda: self._session.run(job), self._limit_s(timeout_s))

    def close(self) -> None:
        """See `Instrument`."""
        self._worker.close(self._session.close)

    @property
    def _timeout_s(self) -> float:
        return self._profile.link.timeout_s

    def _limit_s(self, timeout_s: float) -> float:
        """Longest wait of a caller: the query, and reopening or recovering before it."""
        return timeout_s + self._place.open_limit_s + self._place.recovery_s

    def _open(self) -> Conversation:
        try:
            link = open_link(
                self._place.resource,
                settings=self._profile.link.link_settings(),
                clock=self._place.clock,
                base=self._place.base,
                timeout_s=self._place.open_limit_s,
            )
        except LinkError as exc:
            exc.instrument = self._place.label  # a link does not know the alias
            raise
        return Conversation(
            link,
            self._profile.link.message_format(),
            clock=self._place.clock,
            instrument=self._place.label,
            transcript=self._transcript,
            recovery_s=self._place.recovery_s,
        )

    def _section(self, quantity: str) -> QuantitySection:
        try:
            return self._profile.quantity[quantity]
        except KeyError:
            known = ", ".join(sorted(self._profile.quantity))
            raise InputError(
                f"{self.alias} does not measure {quantity}; it measures {known}."
            ) from None

    def _check_channel(self, channel: str, query: str) -> None:
        channels = self._profile.instrument.channels
        if channel and channel not in channels:
            known = ", ".join(channels) or "none"
            raise InputError(f"{self.alias} has no channel {channel!r}; it has {known}.")
        if not channel and "{channel}" in query:
            raise InputError(f"Say which channel of {self.alias}: {', '.join(channels)}.")

    def _ask(
        self, conversation: Conversation, section: QuantitySection, channel: str, timeout_s: float
    ) -> tuple[str, Number]:
        pattern = re.compile(section.answer)
        if self._profile.link.streaming:
            return self._hear(conversation, section, pattern, timeout_s)
        command = section.query.replace("{channel}", channel)
        text = decode_text(conversation.ask(command, timeout_s), conversation.encoding)
        try:
            answer = pattern.fullmatch(text)
            if answer is None:
                raise AnswerError("The answer does not fit the question.")  # noqa: TRY301
            return text, _number(answer, section)
        except AnswerError as exc:
            raise explain_wrong_answer(
                conversation, self._profile, exc, self._place.label, command, text
            ) from exc

    def _hear(
        self,
        conversation: Conversation,
        section: QuantitySection,
        pattern: re.Pattern[str],
        timeout_s: float,
    ) -> tuple[str, Number]:
        text = conversation.hear(timeout_s, lambda line: pattern.fullmatch(line) is not None)
        found = pattern.fullmatch(text)
        if found is None:
            raise AnswerError("The line does not fit.", instrument=self._place.label)
        try:
            return text, _number(found, section)
        except AnswerError as exc:
            raise AnswerError(
                exc.message,
                instrument=self._place.label,
                received=text.encode("latin-1", "replace"),
                hint=exc.hint,
            ) from exc

    def _reading(
        self,
        quantity: str,
        section: QuantitySection,
        text: str,
        number: Number,
        point: str,
        began_ns: int,
    ) -> Reading:
        clock = self._place.clock
        mono_ns, utc_ns = clock.monotonic_ns(), clock.utc_ns()
        scale, _ = si_scale(section.unit)
        sign = -1.0 if section.positive_tone == 90 else 1.0
        value, quality = sign * scale * number.value, number.quality
        if quantity == "ddm" and abs(value) > IMPOSSIBLE_DDM:
            quality = Quality.IMPOSSIBLE
        return Reading(
            quantity=quantity,
            value=value,
            u=scale * standard_uncertainty(section.accuracy, number.value),
            source=self.alias,
            point=point,
            utc_ns=utc_ns,
            mono_ns=mono_ns,
            took_ns=mono_ns - began_ns,
            quality=quality,
            raw=text,
        )


def _number(answer: re.Match[str], section: QuantitySection) -> Number:
    """Return the number in an answer; none where the instrument itself says that it is no good."""
    if "status" in answer.re.groupindex:
        status = answer["status"]
        if status not in section.status:
            raise AnswerError(f"The status {status!r} is not explained in the profile.")
        if section.status[status] is not Quality.OK:
            return Number(math.nan, section.status[status])
    number = parse_number(answer["value"], unit=suffix_of(section.unit))
    if section.positive_tone == 90 and number.quality in (Quality.OVER, Quality.UNDER):
        flipped = Quality.UNDER if number.quality is Quality.OVER else Quality.OVER
        return Number(number.value, flipped)
    return number
