"""What trying a profile out, or writing one, comes to; and what the command line asks for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from daq.clock import Clock
from daq.reading import Reading


@dataclass(frozen=True, slots=True)
class TrialStep:
    """One thing that was tried.

    Attributes
    ----------
    what
        ``identification`` or what was measured, such as ``vpp, channel 1``.
    lines
        Each line sent and received, as text that can be printed.
    says
        What came of it, in words; empty when it failed.
    reading
        The reading, where it is one.
    error
        Why it failed, in words; empty when it did not.
    """

    what: str
    lines: tuple[str, ...] = ()
    says: str = ""
    reading: Reading | None = None
    error: str = ""


@dataclass(frozen=True, slots=True)
class BaudTrial:
    """What a serial line gave at one baud rate.

    Attributes
    ----------
    baud_rate
        Bits per second.
    received
        Bytes that came in answer to the identification query.
    printable
        The part of them that is printable ASCII, 0 to 1.
    fits
        They are the identification that the profile expects.
    """

    baud_rate: int
    received: int
    printable: float
    fits: bool


@dataclass(frozen=True, slots=True)
class Trial:
    """A profile tried out, step by step."""

    steps: tuple[TrialStep, ...]
    baud_rates: tuple[BaudTrial, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether no step failed."""
        return not any(step.error for step in self.steps)


@dataclass(frozen=True, slots=True)
class ListedProfile:
    """A profile or driver that a station file may name; class and words are empty for drivers."""

    name: str
    instrument_class: str = ""
    description: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """A new profile and what the instrument said while it was written."""

    profile: str
    transcript: str


class ProfileTools(Protocol):
    """What the commands about profiles need; `drivers.profile_tools` is the one that is."""

    def catalogue(self) -> tuple[ListedProfile, ...]:
        """Return every profile and driver by name."""

    def try_profile(
        self, profile: str, *, resource: str, transcript: Path | None, clock: Clock
    ) -> Trial:
        """Try a profile against an instrument or a transcript of one.

        Raises
        ------
        ProfileError, InputError
            The profile or the transcript cannot be read.
        """

    def draft(self, ask: Callable[[str], str]) -> Draft:
        """Write a profile from what a technician answers.

        Raises
        ------
        InputError
            The answers do not make a profile.
        """
