"""What a link and an instrument may ask of each other.

Every simulated instrument gives sessions that are fed bytes and return bytes (`Session`), which is
all that a raw socket or a serial line needs. Links on which the controller asks for the answer
(VXI-11, HiSLIP) need a `MessageSession`.
"""

from __future__ import annotations

import threading
from typing import Final, Protocol, runtime_checkable

MESSAGE_AVAILABLE: Final = 16
"""Bit 4 of the status byte (IEEE 488.2, 11.2.1.2)."""


class LinkDropped(Exception):
    """The session wants its link broken, as a cable pulled out does.

    Attributes
    ----------
    back_s
        Seconds after which a line that cannot be dialled again (a serial one) is plugged back in.
    last_words
        What is still sent before.
    """

    def __init__(self, back_s: float = 0.0, last_words: bytes = b"") -> None:
        super().__init__(f"the link is dropped, and back after {back_s:g} s")
        self.back_s = back_s
        self.last_words = last_words


class Session(Protocol):
    """One client's line to an instrument: bytes in, bytes out."""

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return what is to be sent; takes as long as the instrument does.

        Raises
        ------
        LinkDropped
            Instead of an answer.
        """


@runtime_checkable
class Speaks(Protocol):
    """A session that also says things unasked."""

    def speak(self, gone: threading.Event) -> bytes:
        """Wait for the next thing to say, and return it; empty when `gone` was set meanwhile."""


@runtime_checkable
class HangsUp(Protocol):
    """A session that wants to know when its client is gone."""

    def hang_up(self) -> None:
        """Let go of what the client held."""


@runtime_checkable
class MessageSession(Protocol):
    """A session on a link that marks ends of messages and on which answers wait to be read."""

    def receive(self, data: bytes) -> None:
        """Take bytes and do what the messages that they complete say."""

    def end(self) -> None:
        """Take the link's own mark of a message's end."""

    def read(self) -> bytes:
        """Return the answer that waits; it is complete when it ends with a line feed."""

    def serial_poll(self, *, unread: bool = False) -> int:
        """Return the status byte; `unread` says that the link still holds some of an answer."""

    def interrupt(self) -> None:
        """Note that a new message comes while the link still holds some of an answer."""

    def clear(self) -> None:
        """Device clear: forget half messages and answers that wait."""


class AskedLine:
    """Any session as a `MessageSession`: its answers wait; it has no errors to report."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._output = b""

    def receive(self, data: bytes) -> None:
        """See `MessageSession`; a new question takes the place of an answer that waits."""
        self._output = self._session.feed(data)

    def end(self) -> None:
        """See `MessageSession`; the instrument goes by its own terminator alone."""

    def read(self) -> bytes:
        """See `MessageSession`."""
        output, self._output = self._output, b""
        return output

    def serial_poll(self, *, unread: bool = False) -> int:
        """See `MessageSession`; only message available is known."""
        return MESSAGE_AVAILABLE if self._output or unread else 0

    def interrupt(self) -> None:
        """See `MessageSession`."""

    def clear(self) -> None:
        """See `MessageSession`."""
        self._output = b""


def as_messages(session: Session) -> MessageSession:
    """Return `session` itself when it can hold its answers back, else wrapped so that it can."""
    return session if isinstance(session, MessageSession) else AskedLine(session)
