"""An instrument whose every command comes from a profile."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final, Protocol

from daq.clock import Clock
from daq.errors import AnswerError, InputError, LinkError
from daq.link import Link
from daq.reading import Reading
from daq.roles import Identity, InstrumentClass
from daq.scpi import QueuedError, decode_text
from drivers.conversation import Conversation
from drivers.greeting import check_queue, explain_wrong_answer, greet, queued_errors
from drivers.links.open_link import keeps_deadlines, open_link
from drivers.links.settings import LinkSettings
from drivers.long_operation import wait_until_done
from drivers.profile import Profile
from drivers.profile_quantity import CHANNEL
from drivers.question import Heard, Question
from drivers.session import Gap, Session
from drivers.transcript import Line, Transcript
from drivers.worker import CallerOwns, InstrumentWorker, Owner

OPEN_LIMIT_S: Final = 5.0
"""Longest wait, seconds, for a link to open."""

RECOVERY_S: Final = 2.0
"""Longest wait, seconds, for a dirty link to come clean, on top of a query's own limit."""


class LinkOpener(Protocol):
    """Opens a link as `drivers.links.open_link.open_link` does."""

    def __call__(
        self, resource: str, *, settings: LinkSettings, clock: Clock, base: Path, timeout_s: float
    ) -> Link:
        """Open the link; raises `LinkError`."""


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
        Called, in the thread that owns the instrument then, when it is back after a loss.
    open_limit_s, recovery_s
        Seconds for opening and for getting a dirty link clean.
    opener
        Opens the link.
    """

    alias: str
    resource: str
    clock: Clock
    base: Path
    on_gap: Callable[[Gap], None] = ignore_gap
    open_limit_s: float = OPEN_LIMIT_S
    recovery_s: float = RECOVERY_S
    opener: LinkOpener = open_link

    @property
    def label(self) -> str:
        """Alias and resource, for messages."""
        return f"{self.alias} ({self.resource})"


def no_such_quantity(alias: str, quantity: str, known: Iterable[str]) -> InputError:
    """Return the error for a quantity that an instrument does not read, with those that it does."""
    there = ", ".join(sorted(known))
    return InputError(f"{alias} does not measure {quantity}; it measures {there}.")


class ProfiledInstrument:
    """Fulfils `daq.roles.Instrument` from a profile. Any thread may call it.

    Parameters
    ----------
    profile
        How to talk to it.
    place
        Where it is.
    transcript
        Where each line is noted; its own when None.

    Raises
    ------
    BenchError
        It cannot be reached, is another instrument (`IdentityError`), or refuses its set-up.
    """

    def __init__(
        self, profile: Profile, place: Place, transcript: Transcript | None = None
    ) -> None:
        self._profile = profile
        self._place = place
        self._checks_each_reading = profile.errors.check == "each reading"
        self._questions: dict[tuple[str, str], Question] = {}
        self._transcript = transcript or Transcript(place.clock)
        self._session = Session(
            place.label,
            opener=self._open,
            greet=lambda conversation: greet(conversation, profile, place.label),
            clock=place.clock,
            on_gap=place.on_gap,
        )
        self._worker: Owner = (
            CallerOwns(place.label)
            if keeps_deadlines(place.resource)
            else InstrumentWorker(place.label)
        )
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

    def way_of_reading(self, quantity: str) -> str:
        """Return a digest of what a reading's value and sign hang on; see `daq.roles`."""
        profile = self._profile
        # How sure or how fast it is read changes neither value nor sign.
        apart = {"timeout_s", "noise", "accuracy"}
        said = {
            "setup": profile.setup.model_dump(mode="json"),
            "quantity": profile.quantity[quantity].model_dump(mode="json", exclude=apart),
        }
        return sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:16]

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
        question = self._question(quantity, channel)
        clock = self._place.clock

        def job(conversation: Conversation) -> Reading:
            began_ns = clock.monotonic_ns()
            heard = self._ask(conversation, question)
            if self._checks_each_reading:
                label, asked = self._place.label, question.start or question.command
                check_queue(conversation, self._profile, label, (asked,))
            return question.reading(
                heard, source=self.alias, point=point, clock=clock, began_ns=began_ns
            )

        return self._worker.call(lambda: self._session.run(job), self._limit_s(question.timeout_s))

    def queued_errors(self) -> tuple[QueuedError, ...]:
        """Read the instrument's own error queue empty; it has none where the profile names none.

        Raises
        ------
        BenchError
            As `measure`.
        """
        if not self._profile.errors.queue_query:
            return ()
        return self._worker.call(
            lambda: self._session.run(lambda c: queued_errors(c, self._profile)),
            self._limit_s(self._timeout_s),
        )

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
            link = self._place.opener(
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

    def _question(self, quantity: str, channel: str) -> Question:
        known = self._questions.get((quantity, channel))
        if known is not None:
            return known
        section = self._profile.quantity.get(quantity)
        if section is None:
            raise no_such_quantity(self.alias, quantity, self._profile.quantity)
        self._check_channel(channel, section.channel_texts)
        question = Question(section, channel, self._timeout_s)
        return self._questions.setdefault((quantity, channel), question)

    def _check_channel(self, channel: str, texts: str) -> None:
        channels = self._profile.instrument.channels
        if channel and channel not in channels:
            known = ", ".join(channels) or "none"
            raise InputError(f"{self.alias} has no channel {channel!r}; it has {known}.")
        if not channel and CHANNEL in texts:
            raise InputError(f"Say which channel of {self.alias}: {', '.join(channels)}.")

    def _ask(self, conversation: Conversation, question: Question) -> Heard:
        if self._profile.link.streaming:
            return self._hear(conversation, question)
        if question.start:
            wait_until_done(conversation, question, self._place.clock)
        answer = conversation.ask(question.command, question.timeout_s)
        text = decode_text(answer, conversation.encoding)
        try:
            return question.hear(text)
        except AnswerError as exc:
            raise explain_wrong_answer(
                conversation, self._profile, exc, self._place.label, question.command, text
            ) from exc

    def _hear(self, conversation: Conversation, question: Question) -> Heard:
        text = conversation.hear(question.timeout_s, question.fits)
        try:
            return question.hear(text)
        except AnswerError as exc:
            raise AnswerError(
                exc.message,
                instrument=self._place.label,
                received=text.encode("latin-1", "replace"),
                hint=exc.hint,
            ) from exc
