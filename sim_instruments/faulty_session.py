"""Any session with faults: what the panel says becomes of each answer is done here."""

from __future__ import annotations

import re
import threading
from typing import Final

from sim_instruments.fault_panel import FaultPanel
from sim_instruments.sessions import HangsUp, Session, Speaks, as_messages

LISTENING_S: Final = 0.05
_ENDINGS: Final = re.compile(rb"[\r\n]+")
_LONGEST: Final = 4096


class FaultySession:
    """A session of an instrument, as its panel lets it be heard.

    Parameters
    ----------
    session
        The instrument's own line; fed, or asked as a `MessageSession`.
    panel
        Says when something goes wrong.

    Raises
    ------
    LinkDropped
        The instrument is off.
    """

    def __init__(self, session: Session, panel: FaultPanel) -> None:
        panel.check_link()
        self._session = session
        self._messages = as_messages(session)
        self._panel = panel
        self._asked = b""
        self._dribble = b""
        self._pace_s = 0.0
        self._repairs = 0

    def feed(self, data: bytes) -> bytes:
        """See `Session`."""
        self._panel.check_link()
        self._note(data)
        return self._struck(self._session.feed(data), at_once=False)

    def speak(self, gone: threading.Event) -> bytes:
        """See `Speaks`: what the instrument says on its own, or a fault makes it say."""
        if self._dribble:
            self._panel.wait(self._pace_s)
            count = 1 if self._panel.repairs == self._repairs else len(self._dribble)
            said, self._dribble = self._dribble[:count], self._dribble[count:]
            return said
        if unasked := self._panel.unasked():
            return unasked
        if isinstance(self._session, Speaks):
            said = self._session.speak(gone)
            self._panel.check_link()
            return self._struck(said, at_once=True)
        gone.wait(LISTENING_S)
        return b""

    def hang_up(self) -> None:
        """See `HangsUp`."""
        if isinstance(self._session, HangsUp):
            self._session.hang_up()

    def receive(self, data: bytes) -> None:
        """See `MessageSession`."""
        self._panel.check_link()
        self._note(data)
        self._messages.receive(data)

    def end(self) -> None:
        """See `MessageSession`."""
        self._messages.end()

    def read(self) -> bytes:
        """See `MessageSession`."""
        return self._struck(self._messages.read(), at_once=True)

    def serial_poll(self, *, unread: bool = False) -> int:
        """See `MessageSession`."""
        return self._messages.serial_poll(unread=unread)

    def interrupt(self) -> None:
        """See `MessageSession`."""
        self._messages.interrupt()

    def clear(self) -> None:
        """See `MessageSession`."""
        self._messages.clear()

    def _note(self, data: bytes) -> None:
        """Keep the last line that was asked."""
        asked = self._asked if self._asked[-1:] not in (b"\r", b"\n") else b""
        line = _ENDINGS.split((asked + data).rstrip(b"\r\n"))[-1]
        ending = data[len(data.rstrip(b"\r\n")) :]
        self._asked = (line + ending)[-_LONGEST:]

    def _struck(self, answer: bytes, *, at_once: bool) -> bytes:
        if not answer:
            return b""
        strike = self._panel.strike(self._asked, answer)
        heard = self._panel.carry_out(strike, at_once=at_once)
        if strike.pace_s and not at_once:
            self._pace_s, self._repairs = strike.pace_s, self._panel.repairs
            self._dribble += heard
            return b""
        return heard
