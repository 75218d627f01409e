"""What a fault is: a small frozen recipe that says what becomes of one answer.

A fault knows no link and no clock, so it is the same on a socket, a serial line, VXI-11 and HiSLIP.
`fault_panel.FaultPanel` decides when one strikes, `faulty_session.FaultySession` carries it out.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from random import Random
from typing import ClassVar, Final

from sim_instruments.answer_text import is_measured

REMEMBERED: Final = 100


@dataclass(frozen=True, slots=True)
class Strike:
    """What is to happen instead of a plain answer, in this order.

    Attributes
    ----------
    wait_s
        First the instrument waits, s.
    answer
        Then it sends this.
    pace_s
        Seconds between one byte and the next; 0 sends all at once.
    hang
        Then it takes nothing in and gives nothing out until the fault is cleared.
    drop
        Then the link breaks, and is back after `back_s`.
    restart
        With the drop the instrument loses its settings; `banner` is the first thing it says then.
    chatter
        From now on it says this unasked, until the fault is cleared.
    error
        Number that goes into the error queue; 0 for none.
    """

    answer: bytes = b""
    wait_s: float = 0.0
    pace_s: float = 0.0
    hang: bool = False
    drop: bool = False
    back_s: float = 0.0
    restart: bool = False
    banner: bytes = b""
    chatter: bytes = b""
    error: int = 0


@dataclass(slots=True)
class Memory:
    """What a struck instrument remembers.

    Attributes
    ----------
    values
        Measured answers to each question, oldest first, before any fault.
    frozen
        The answer at which each question stands still.
    noise
        Source of noise, seeded.
    """

    values: dict[bytes, deque[bytes]] = field(default_factory=dict)
    frozen: dict[bytes, bytes] = field(default_factory=dict)
    noise: Random = field(default_factory=lambda: Random(1))

    def note(self, question: bytes, answer: bytes) -> None:
        """Remember a measured answer."""
        if is_measured(answer):
            self.values.setdefault(question, deque(maxlen=REMEMBERED)).append(answer)


@dataclass(frozen=True, slots=True)
class Exchange:
    """One question and the answer that the instrument would give.

    Attributes
    ----------
    question, answer
        As on the line; the question is empty when the instrument speaks unasked.
    memory
        What came before.
    """

    question: bytes
    answer: bytes
    memory: Memory


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault.

    Attributes
    ----------
    name, sentence
        As in the menu.
    """

    name: ClassVar[str] = ""
    sentence: ClassVar[str] = ""

    def strike(self, at: Exchange, /) -> Strike:
        """Return what becomes of the answer."""
        raise NotImplementedError
