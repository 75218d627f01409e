"""A controller's line on a link where writing, reading and polling are separate calls (VXI-11).

The instrument works in a thread of its own, so that a read can run into its time limit while the
instrument is still busy, the answer can be fetched later, and the status byte can be asked for in
between.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from typing import Final

from sim_instruments.clock import SystemClock
from sim_instruments.sessions import MESSAGE_AVAILABLE, HangsUp, LinkDropped, MessageSession

CLOSE_LIMIT_S: Final = 2.0


class Aborted(Exception):
    """The call was abandoned by a device clear, an abort, or the end of the link."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Some of an answer.

    Attributes
    ----------
    data
        At most as many bytes as were asked for.
    requested
        That many were asked for.
    terminated
        It ends with the termination character that was asked for.
    end
        It ends the message.
    """

    data: bytes
    requested: bool
    terminated: bool
    end: bool


class MessageLine:
    """One line to `session` with its worker thread.

    Parameters
    ----------
    session
        The instrument's side; only the worker calls it, but for the status byte.
    """

    def __init__(self, session: MessageSession) -> None:
        self._session = session
        self._clock = SystemClock()  # limits are the client's, in its own time
        self._changed = threading.Condition()
        self._inbox: deque[tuple[bytes, bool]] = deque()
        self._working = False
        self._output = b""
        self._owing = False
        self._abandoned = 0
        self._lost: LinkDropped | None = None
        self._closed = False
        self._worker = threading.Thread(target=self._work, name="message line", daemon=True)
        self._worker.start()

    def write(self, data: bytes, *, end: bool) -> None:
        """Hand bytes to the instrument; returns at once.

        Raises
        ------
        LinkDropped
            The instrument broke the link.
        """
        with self._changed:
            self._check()
            self._inbox.append((data, end))
            self._changed.notify_all()

    def read(self, size: int, limit_s: float, term: int | None = None) -> Piece | None:
        """Return up to `size` bytes of the answer, or None when none came within `limit_s`.

        Reading where nothing was asked is an error in the instrument's queue (-420), and then the
        time runs out.

        Parameters
        ----------
        size, term
            Stop after so many bytes, or after this byte.
        limit_s
            How long to wait, s.

        Raises
        ------
        LinkDropped
            The instrument broke the link.
        Aborted
            The call was abandoned.
        """
        with self._changed:
            self._check()
            abandoned = self._abandoned
            deadline_s = self._now_s() + limit_s

            def over() -> bool:
                return self._ready() or self._lost is not None or self._abandoned != abandoned

            self._changed.wait_for(lambda: over() or self._idle(), limit_s)
            if self._idle() and not over():
                if not self._owing:
                    self._session.read()
                self._changed.wait_for(over, deadline_s - self._now_s())
            self._check()
            if self._abandoned != abandoned:
                raise Aborted
            return self._take(size, term) if self._ready() else None

    def serial_poll(self) -> int:
        """Return the status byte."""
        return self._session.serial_poll(unread=bool(self._output))

    def clear(self) -> None:
        """Device clear: nothing is left of messages under way."""
        with self._changed:
            self._session.clear()
            self._inbox.clear()
            self._output = b""
            self._owing = False
        self.abort()

    def abort(self) -> None:
        """Abandon the read that waits."""
        with self._changed:
            self._abandoned += 1
            self._changed.notify_all()

    def close(self) -> None:
        """End the worker; harmless when repeated."""
        with self._changed:
            self._closed = True
            self._inbox.clear()
        self.abort()
        if isinstance(self._session, HangsUp):
            self._session.hang_up()
        self._worker.join(CLOSE_LIMIT_S)

    def _now_s(self) -> float:
        return self._clock.monotonic_ns() / 1e9

    def _ready(self) -> bool:
        """Whether there is something to read; a message that waits is about to interrupt it."""
        return bool(self._output) and not self._inbox

    def _idle(self) -> bool:
        return not (self._working or self._inbox)

    def _check(self) -> None:
        if self._closed:
            raise Aborted
        if self._lost is not None:
            raise LinkDropped(self._lost.back_s)

    def _take(self, size: int, term: int | None) -> Piece:
        at = -1 if term is None else self._output.find(bytes([term]), 0, size)
        count = min(size, len(self._output)) if at < 0 else at + 1
        data, self._output = self._output[:count], self._output[count:]
        end = not self._output and not self._owing
        return Piece(data, requested=len(data) == size, terminated=at >= 0, end=end)

    def _work(self) -> None:
        while True:
            with self._changed:
                self._working = False
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._inbox or self._closed)
                if self._closed:
                    return
                data, end = self._inbox.popleft()
                self._working = True
                abandoned = self._abandoned
                if self._output:
                    self._output = b""
                    self._session.interrupt()
                self._owing = False
            try:
                answer = self._ask(data, end=end)
            except LinkDropped as drop:
                with self._changed:
                    self._lost = drop
                    self._changed.notify_all()
                return
            with self._changed:
                if answer is not None and abandoned == self._abandoned:
                    self._output = answer
                    # Without its terminator an answer is not over, and the rest never comes.
                    self._owing = not answer.endswith(b"\n")

    def _ask(self, data: bytes, *, end: bool) -> bytes | None:
        """Let the instrument do what it is told; None when it has nothing to say."""
        self._session.receive(data)
        if end:
            self._session.end()
        if self._session.serial_poll() & MESSAGE_AVAILABLE:
            return self._session.read()
        return None
