"""Faults of the value: an answer comes as it should, and is wrong."""

from __future__ import annotations

from dataclasses import dataclass

from sim_instruments.answer_text import is_measured, with_number
from sim_instruments.fault_model import Exchange, Fault, Strike


@dataclass(frozen=True, slots=True)
class StaleValue(Fault):
    """An older answer is repeated."""

    name = "stale value"
    sentence = "The answer is the one given to the same question so many answers ago."
    age: int = 5

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        known = at.memory.values.get(at.question)
        if not known or not is_measured(at.answer):
            return Strike(at.answer)
        return Strike(known[max(0, len(known) - 1 - self.age)])


@dataclass(frozen=True, slots=True)
class FrozenValue(Fault):
    """The number no longer moves."""

    name = "frozen value"
    sentence = "The first value is repeated to the last digit, whatever is turned."

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(
            at.memory.frozen.setdefault(at.question, at.answer)
            if is_measured(at.answer)
            else at.answer
        )


@dataclass(frozen=True, slots=True)
class WrongUnit(Fault):
    """Somebody changed the unit at the panel."""

    name = "wrong unit"
    sentence = "The number is so many times as large; unit= replaces the unit if one is sent."
    factor: float = 1000.0
    unit: str = ""

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(with_number(at.answer, lambda value: value * self.factor, self.unit))


@dataclass(frozen=True, slots=True)
class WrongSign(Fault):
    """The sign convention is the other one."""

    name = "wrong sign"
    sentence = "The number has the other sign: the predominance is told the wrong way round."

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(with_number(at.answer, lambda value: -value))


@dataclass(frozen=True, slots=True)
class NoiseBurst(Fault):
    """Interference."""

    name = "noise burst"
    sentence = "Gaussian noise of this standard deviation, in the answer's unit, is on the number."
    sigma: float = 0.05

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(
            with_number(at.answer, lambda value: value + at.memory.noise.gauss(0, self.sigma))
        )


@dataclass(frozen=True, slots=True)
class ErrorInQueue(Fault):
    """Something went wrong inside, and only the error queue knows."""

    name = "error in queue"
    sentence = "The answer is good, and an error with this number is in the queue."
    number: int = -221

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(at.answer, error=self.number)


@dataclass(frozen=True, slots=True)
class Says(Fault):
    r"""Another answer; for shapes of answers that only some firmware has."""

    name = "says"
    sentence = r"The answer is this text instead; \xNN and \n are understood, terminator included."
    text: str = r"9.91E+37\n"

    def strike(self, _at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(
            self.text.encode("latin-1", "replace").decode("unicode_escape").encode("latin-1")
        )
