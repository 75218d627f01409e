"""When faults strike: one panel an instrument, whatever links it is served on."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from sim_instruments.clock import Clock
from sim_instruments.fault_model import Exchange, Fault, Memory, Strike
from sim_instruments.sessions import LinkDropped

SLICE_S: Final = 0.05
"""A waiting instrument looks this often whether its fault was cleared, s."""


@dataclass(slots=True)
class Armed:
    """A fault that waits for its turn, or has it.

    Attributes
    ----------
    fault
        What will happen.
    after
        Answers that still pass before it strikes.
    count
        Answers that it still strikes; -1 for as long as it is armed.
    matching
        Only answers to questions that contain this are counted and struck; empty for all.
    """

    fault: Fault
    after: int
    count: int
    matching: bytes


class FaultPanel:
    """Where faults of one instrument are armed and cleared.

    Parameters
    ----------
    clock
        Waits of faults are on it.
    report
        Puts a number into the instrument's error queue; None where it has none.
    restart
        Makes the instrument lose its settings; None where it has none.

    Attributes
    ----------
    repairs
        How often everything was repaired.
    """

    def __init__(
        self,
        clock: Clock,
        *,
        report: Callable[[int], None] | None = None,
        restart: Callable[[], None] | None = None,
    ) -> None:
        self._clock = clock
        self._report = report
        self._restart = restart
        self._changed = threading.Condition()
        self._armed: list[Armed] = []
        self._memory = Memory()
        self.repairs = 0
        self._released = False
        self._off_until_ns = 0
        self._chatter = b""
        self._banner = b""

    def arm(self, fault: Fault, *, after: int = 0, count: int = 1, matching: str = "") -> None:
        """Let `fault` strike.

        Parameters
        ----------
        fault
            Which; see `faults.MENU`.
        after
            Answers that pass first; 0 strikes the very next one.
        count
            Answers that it strikes, one after the other; 0 strikes until cleared.
        matching
            Only answers to questions that contain this text count and are struck.
        """
        wanted = Armed(fault, max(0, after), count if count > 0 else -1, matching.encode("utf-8"))
        with self._changed:
            self._armed.append(wanted)

    def clear(self) -> None:
        """Repair everything: what hangs or is late goes on, what is armed is forgotten."""
        with self._changed:
            self._armed.clear()
            self._memory.frozen.clear()
            self._chatter = self._banner = b""
            self.repairs += 1
            self._changed.notify_all()

    def release(self) -> None:
        """Let go of everything for good, so that the links can be closed."""
        self._released = True
        self.clear()

    def strike(self, question: bytes, answer: bytes) -> Strike:
        """Return what becomes of an answer; without a fault, the answer itself."""
        with self._changed:
            self._memory.note(question, answer)
            due = self._due(question)
            if due is None:
                return Strike(answer)
            return due.strike(Exchange(question, answer, self._memory))

    def _due(self, question: bytes) -> Fault | None:
        """Count this answer and return the first fault whose turn it is."""
        matching = [one for one in self._armed if one.matching in question]
        due = next((one for one in matching if one.after == 0), None)
        for one in matching:
            one.after = max(0, one.after - 1)
        if due is None:
            return None
        due.count -= 1
        if due.count == 0:
            self._armed.remove(due)
        return due.fault

    def carry_out(self, strike: Strike, *, at_once: bool = True) -> bytes:
        """Do what a strike says, and return what is to be sent.

        Parameters
        ----------
        strike
            What happens.
        at_once
            The link cannot send byte by byte: the time that this takes is waited here.

        Raises
        ------
        LinkDropped
            The strike breaks the link.
        """
        self.wait(strike.wait_s + (strike.pace_s * len(strike.answer) if at_once else 0.0))
        if strike.error and self._report is not None:
            self._report(strike.error)
        if strike.chatter:
            self._chatter = strike.chatter
        if strike.restart and self._restart is not None:
            self._restart()
        if strike.hang:
            self._hang()
        if strike.drop:
            self._banner = strike.banner
            self._off_until_ns = self._clock.monotonic_ns() + round(strike.back_s * 1e9)
            raise LinkDropped(strike.back_s, strike.answer)
        return strike.answer

    def check_link(self) -> None:
        """Raise LinkDropped while the instrument is off."""
        left_ns = self._off_until_ns - self._clock.monotonic_ns()
        if left_ns > 0 and not self._released:
            raise LinkDropped(left_ns / 1e9)

    def wait(self, seconds: float) -> None:
        """Wait on the instrument's clock; shorter when faults are cleared meanwhile."""
        repairs = self.repairs
        while seconds > 0 and repairs == self.repairs and not self._released:
            self._clock.sleep(min(SLICE_S, seconds))
            seconds -= SLICE_S

    def unasked(self) -> bytes:
        """Wait a moment and return what the instrument says without being asked, if anything."""
        with self._changed:
            banner, self._banner = self._banner, b""
        if banner or not self._chatter:
            return banner
        self._clock.sleep(SLICE_S)
        return self._chatter

    def _hang(self) -> None:
        with self._changed:
            repairs = self.repairs
            self._changed.wait_for(lambda: self._released or self.repairs != repairs)
