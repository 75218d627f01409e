"""Pair another screen instead of the paired one, asked for at the terminal.

A phone that was lost must not be able to act a moment longer, and one whose battery is empty must
not keep another from acting. So one key at the terminal, typed as a line or pressed twice while a
value is watched, ends token and cookie at once and shows a new code; the screen that was paired
goes on looking, and says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from daq.clock import Clock
from procedures.page.hub import Hub
from procedures.page.offers import Offers
from procedures.page.pairing import Pairing
from procedures.terminal.operator import STOP_QUESTION_NS

KEY: Final = "p"
"""Pressed twice while a value is watched, or typed as a line where something is asked."""

LET_GO: Final = "screen let go at the terminal"
PAIRED: Final = "another screen paired"
"""Events in the log."""

_SURE: Final = f"Pair another screen instead of the paired one? {KEY} again = yes."
_GOES_ON: Final = "The screen that was paired can no longer act. What was asked still stands."

Log = Callable[[Mapping[str, object]], None]


class Doorway:
    """Takes the pairing key out of what is typed, and pairs anew.

    Parameters
    ----------
    pairing
        Who may act.
    hub
        Screens hear there that it has changed.
    offers
        What the screen that is let go has offered there, and nobody took yet, is withdrawn.
    invite
        Returns the lines that bring a screen here, with the token of the moment.
    clock
        The question after the first press lapses as the one whether to stop does.
    log
        Records an event of the run; None where there is none.

    Attributes
    ----------
    tell
        Says something at the terminal only: the token is for nobody else.
    """

    def __init__(
        self,
        pairing: Pairing,
        hub: Hub,
        offers: Offers,
        invite: Callable[[], str],
        *,
        clock: Clock,
        log: Log | None,
    ) -> None:
        self._pairing = pairing
        self._hub = hub
        self._offers = offers
        self._invite = invite
        self._clock = clock
        self._log = log
        self._asked_ns: int | None = None
        self._renewed = 0
        self.tell: Callable[[str], None] = _to_nobody

    def takes_line(self, line: str) -> bool:
        """Whether a typed line was the pairing key; another screen can be paired then."""
        self._asked_ns = None
        if line.strip().lower() != KEY:
            return False
        self.pair_anew()
        return True

    def without(self, keys: str) -> str:
        """Return pressed keys less the pairing key, which counts when it is pressed twice.

        One press may be a slip of a hand that is on its way to another key.
        """
        others = ""
        for key in keys:
            if key.lower() != KEY:
                self._asked_ns = None
                others += key
            elif self._is_asked():
                self._asked_ns = None
                self.pair_anew()
            else:
                self._asked_ns = self._clock.monotonic_ns()
                self.tell(_SURE)
        return others

    def _is_asked(self) -> bool:
        """Whether the question after the first press still stands."""
        if self._asked_ns is None:
            return False
        return self._clock.monotonic_ns() - self._asked_ns <= STOP_QUESTION_NS

    def pair_anew(self) -> None:
        """End token and cookie at once, record it, and show at the terminal how to pair a screen.

        Raises
        ------
        LogError
            It could not be recorded; nobody is paired then.
        """
        was_paired = self._pairing.renew()
        self._offers.withdraw()
        self._renewed += 1
        self._hub.publish("pair", {"renewed": self._renewed})
        self._record(LET_GO, reason="it was paired" if was_paired else "none was paired yet")
        self.tell(f"{self._invite()}\n{_GOES_ON}")

    def came(self, screen: str) -> None:
        """Tell all screens that one was paired; record it when it took the place of another.

        Parameters
        ----------
        screen
            Its address on the network.

        Raises
        ------
        LogError
            It could not be recorded.
        """
        if self._renewed:
            self._record(PAIRED, reason=f"at {screen}")
        self._hub.publish("pair", {"paired": True, "renewed": self._renewed})

    def _record(self, event: str, *, reason: str) -> None:
        if self._log is not None:
            self._log({"event": event, "reason": reason})


def _to_nobody(_: str) -> None:
    """Say nothing: no operator is at the terminal yet."""
