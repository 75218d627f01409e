"""An instrument over its whole life: opened, greeted, lost, found again, never mixed up."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeVar

from daq.clock import Clock
from daq.errors import BenchError, IdentityError, LinkLost
from daq.roles import Identity
from drivers.conversation import Conversation

T = TypeVar("T")

_FIRST_WAIT_S: Final = 0.05
_LONGEST_WAIT_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Gap:
    """A time during which an instrument could not be read.

    Attributes
    ----------
    instrument
        Alias and resource.
    reason
        The error that began it.
    began_utc_ns, ended_utc_ns, began_mono_ns, ended_mono_ns
        Calendar and monotonic times, ns.
    power_cycled
        The instrument says that its power was off in between; None if it cannot say. Its settings
        have been sent again in any case.
    """

    instrument: str
    reason: str
    began_utc_ns: int
    ended_utc_ns: int
    began_mono_ns: int
    ended_mono_ns: int
    power_cycled: bool | None = None


@dataclass(frozen=True, slots=True)
class Greeting:
    """What a newly opened instrument said: who it is, and whether its power had been off."""

    identity: Identity
    power_cycled: bool | None = None


@dataclass(frozen=True, slots=True)
class _Loss:
    reason: str
    utc_ns: int
    mono_ns: int


class Session:
    """Keeps one conversation alive. Only its owner calls it (`drivers.worker`).

    Parameters
    ----------
    instrument
        Alias and resource, for messages.
    opener
        Opens the link and begins a conversation.
    greet
        Identifies, checks and sets up the instrument.
    clock
        For gaps and back-off.
    on_gap
        Called, in the owner's thread, when a lost instrument is back.
    """

    def __init__(
        self,
        instrument: str,
        *,
        opener: Callable[[], Conversation],
        greet: Callable[[Conversation], Greeting],
        clock: Clock,
        on_gap: Callable[[Gap], None],
    ) -> None:
        self._instrument = instrument
        self._opener = opener
        self._greet = greet
        self._clock = clock
        self._on_gap = on_gap
        self._conversation: Conversation | None = None
        self._identity: Identity | None = None
        self._loss: _Loss | None = None
        self._wait_s = 0.0

    def open(self) -> Identity:
        """Open and greet; raises `BenchError` and leaves nothing open if that fails."""
        return self._connect().identity

    def run(self, job: Callable[[Conversation], T]) -> T:
        """Run `job`, reopening a lost link first.

        A job that fails is never repeated: its error is raised, and the next call finds the link
        clean, reopened, or gets an error of its own.

        Raises
        ------
        BenchError
            What the job raised, or why the link could not be reopened.
        """
        conversation = self._conversation
        if conversation is None:
            conversation = self._reopen()
        try:
            return job(conversation)
        except BenchError as exc:
            if isinstance(exc, LinkLost) or conversation.hopeless:
                self._lose(exc)
            raise

    def close(self) -> None:
        """Close the link; harmless when called twice."""
        if self._conversation is not None:
            self._conversation.close()
            self._conversation = None

    def _lose(self, error: BenchError) -> None:
        self.close()
        if self._loss is None:
            now = self._clock
            self._loss = _Loss(error.message, now.utc_ns(), now.monotonic_ns())
            self._wait_s = 0.0

    def _reopen(self) -> Conversation:
        # Waiting here, bounded, keeps a caller that asks again and again from hammering.
        self._clock.sleep(self._wait_s)
        self._wait_s = min(_LONGEST_WAIT_S, max(_FIRST_WAIT_S, 2 * self._wait_s))
        greeting = self._connect()
        if self._loss is not None:
            gap = Gap(
                instrument=self._instrument,
                reason=self._loss.reason,
                began_utc_ns=self._loss.utc_ns,
                ended_utc_ns=self._clock.utc_ns(),
                began_mono_ns=self._loss.mono_ns,
                ended_mono_ns=self._clock.monotonic_ns(),
                power_cycled=greeting.power_cycled,
            )
            self._loss = None
            self._wait_s = 0.0
            self._on_gap(gap)
        if self._conversation is None:
            raise LinkLost("The link was closed.", instrument=self._instrument)
        return self._conversation

    def _connect(self) -> Greeting:
        conversation = self._opener()
        with contextlib.ExitStack() as on_failure:
            on_failure.callback(conversation.close)
            greeting = self._greet(conversation)
            self._check_same(greeting.identity)
            on_failure.pop_all()
        self._conversation = conversation
        return greeting

    def _check_same(self, found: Identity) -> None:
        known = self._identity
        if known is None:
            self._identity = found
        elif (known.maker, known.model, known.serial) != (found.maker, found.model, found.serial):
            raise IdentityError(
                f"{found} answers where {known} was before the link was lost.",
                instrument=self._instrument,
                hint="put the first one back, or begin a new run with this one.",
            )
