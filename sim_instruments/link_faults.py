"""Faults of the link: the answer is right, and does not come as it should."""

from __future__ import annotations

from dataclasses import dataclass

from sim_instruments.fault_model import Exchange, Fault, Strike


@dataclass(frozen=True, slots=True)
class DropLink(Fault):
    """The cable is pulled out."""

    name = "drop link"
    sentence = "The link breaks instead of an answer; part (0 to 1) of the answer still comes."
    part: float = 0.0
    back_s: float = 0.2

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(_cut(at.answer, self.part), drop=True, back_s=self.back_s)


@dataclass(frozen=True, slots=True)
class AnswerLate(Fault):
    """The instrument was busy with something else."""

    name = "answer late"
    sentence = "The answer comes after so many seconds, which may be when nobody waits for it."
    seconds: float = 3.0

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(at.answer, wait_s=self.seconds)


@dataclass(frozen=True, slots=True)
class AnswerHalf(Fault):
    """The answer stops in the middle."""

    name = "answer half"
    sentence = "Part of the answer comes, then silence; part=1 leaves only the terminator out."
    part: float = 0.5

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(_cut(at.answer, self.part))


@dataclass(frozen=True, slots=True)
class Silence(Fault):
    """The answer never comes."""

    name = "silence"
    sentence = "No answer at all; the link stays open and commands are still taken."

    def strike(self, _at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike()


@dataclass(frozen=True, slots=True)
class Dribble(Fault):
    """The answer comes one byte at a time."""

    name = "dribble"
    sentence = "The answer comes byte by byte, so many seconds apart."
    seconds: float = 0.05

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(at.answer, pace_s=self.seconds)


@dataclass(frozen=True, slots=True)
class StopReading(Fault):
    """The instrument's link hangs."""

    name = "stop reading"
    sentence = "Nothing is answered or even taken in, until cleared: writing to it blocks."

    def strike(self, _at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(hang=True)


@dataclass(frozen=True, slots=True)
class Chatter(Fault):
    """The instrument talks without being asked."""

    name = "chatter"
    sentence = "After this answer it says the text, unasked, every 0.05 s until cleared."
    text: str = "READY"

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(at.answer, chatter=self.text.encode("utf-8") + b"\r\n")


@dataclass(frozen=True, slots=True)
class GarbageBytes(Fault):
    """Noise on the line."""

    name = "garbage bytes"
    sentence = "Bytes that are no text stand in front of the answer."
    count: int = 3

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike((b"\xff\x00\xfe" * self.count)[: self.count] + at.answer)


@dataclass(frozen=True, slots=True)
class WrongBaudRate(Fault):
    """Both ends run at different rates."""

    name = "wrong baud rate"
    sentence = "Every byte is scrambled, terminators too, as at the wrong baud rate."

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(bytes(((byte << 1) & 0xFE) ^ 0x98 for byte in at.answer))


@dataclass(frozen=True, slots=True)
class Echo(Fault):
    """The line echoes."""

    name = "echo"
    sentence = "What was sent comes back in front of the answer."

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(at.question + at.answer)


@dataclass(frozen=True, slots=True)
class StolenBytes(Fault):
    """A second program has the same line open and gets some of the bytes."""

    name = "stolen bytes"
    sentence = "A second client on the line gets every so many-th byte of the answer."
    every: int = 2

    def strike(self, at: Exchange, /) -> Strike:
        """See `Fault`."""
        return Strike(
            bytes(byte for place, byte in enumerate(at.answer, 1) if place % max(1, self.every))
        )


@dataclass(frozen=True, slots=True)
class PowerCycle(Fault):
    """Off and on again in the middle."""

    name = "power cycle"
    sentence = "Off and on again: the link breaks, settings are lost, power-on is in *ESR?."
    back_s: float = 0.3
    banner: str = ""

    def strike(self, _at: Exchange, /) -> Strike:
        """See `Fault`."""
        banner = self.banner.encode("utf-8") + b"\r\n" if self.banner else b""
        return Strike(drop=True, back_s=self.back_s, restart=True, banner=banner)


def _cut(answer: bytes, part: float) -> bytes:
    """Return the first part of an answer, never with its terminator."""
    body = answer.rstrip(b"\r\n")
    return body[: round(len(body) * min(1.0, max(0.0, part)))].rstrip(b"\r\n")
