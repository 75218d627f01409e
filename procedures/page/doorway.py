"""Pair another screen instead of the paired one, asked for at the terminal.

A phone that was lost must not be able to act a moment longer, and one whose battery is empty must
not keep another from acting. So a single key at the terminal ends token and cookie at once and
shows a new code; the screen that was paired goes on looking, and says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from procedures.page.hub import Hub
from procedures.page.pairing import Pairing

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
    invite
        Returns the lines that bring a screen here, with the token of the moment.
    log
        Records an event of the run; None where there is none.

    Attributes
    ----------
    tell
        Says something at the terminal only: the token is for nobody else.
    """

    def __init__(
        self, pairing: Pairing, hub: Hub, invite: Callable[[], str], log: Log | None
    ) -> None:
        self._pairing = pairing
        self._hub = hub
        self._invite = invite
        self._log = log
        self._asked = False
        self._renewed = 0
        self.tell: Callable[[str], None] = _to_nobody

    def takes_line(self, line: str) -> bool:
        """Whether a typed line was the pairing key; another screen can be paired then."""
        self._asked = False
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
                self._asked = False
                others += key
            elif self._asked:
                self._asked = False
                self.pair_anew()
            else:
                self._asked = True
                self.tell(_SURE)
        return others

    def pair_anew(self) -> None:
        """End token and cookie at once, record it, and show at the terminal how to pair a screen.

        Raises
        ------
        LogError
            It could not be recorded; nobody is paired then.
        """
        was_paired = self._pairing.renew()
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
