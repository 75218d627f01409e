"""One owner of each instrument at a time: nobody else touches its link meanwhile.

Two ways, by the kind of link. A link that may hang beyond its deadline (a foreign VISA library, the
closing of a serial line) has a thread of its own, which the caller stops waiting for. A raw socket
keeps every deadline itself: there the caller's own thread does the work under a lock, which saves
two switches of threads in each reading.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Final, Generic, Protocol, TypeVar

from daq.errors import LinkLost, LinkTimeout

T = TypeVar("T")

_CLOSE_LIMIT_S: Final = 1.5


class Owner(Protocol):
    """Runs jobs on one instrument, one after another."""

    def call(self, job: Callable[[], T], limit_s: float) -> T:
        """Run `job` and return its result.

        Parameters
        ----------
        job
            Has its own deadline.
        limit_s
            Longest wait of the caller, seconds.

        Raises
        ------
        LinkTimeout
            The limit passed; a job that had not begun never will.
        LinkLost
            The instrument was closed.
        """

    def close(self, last: Callable[[], None]) -> None:
        """Run `last` and take no more jobs; returns within 1.5 s in any case."""


class CallerOwns:
    """Fulfils `Owner` in the threads of its callers, one at a time.

    Parameters
    ----------
    instrument
        Alias and resource, for messages.
    """

    def __init__(self, instrument: str) -> None:
        self._instrument = instrument
        self._turn = threading.Lock()
        self._closed = False

    def call(self, job: Callable[[], T], limit_s: float) -> T:
        """See `Owner`."""
        if not self._turn.acquire(timeout=limit_s):
            raise _still_busy(self._instrument, limit_s)
        try:
            if self._closed:
                raise _has_been_closed(self._instrument)
            return job()
        finally:
            self._turn.release()

    def close(self, last: Callable[[], None]) -> None:
        """See `Owner`."""
        if self._closed:
            return
        self._closed = True
        taken = self._turn.acquire(timeout=_CLOSE_LIMIT_S)
        try:
            last()
        finally:
            if taken:
                self._turn.release()


class _Call(Generic[T]):
    """One job on its way to the owner thread and back.

    Two plain locks do what a `Future` does, at a third of its cost in each reading.
    """

    __slots__ = ("_claim", "_done", "_job", "error", "results")

    def __init__(self, job: Callable[[], T]) -> None:
        self._job = job
        self._claim = threading.Lock()
        self._done = threading.Lock()
        self._done.acquire()
        self.results: list[T] = []
        self.error: BaseException | None = None

    def claim(self) -> bool:
        """Return whether nobody claimed it before: the owner to run it, the caller to stop it."""
        return self._claim.acquire(blocking=False)

    def run(self) -> None:
        """Run the job, unless its caller has given it up."""
        if not self.claim():
            return
        try:
            self.results.append(self._job())
        except BaseException as exc:  # noqa: BLE001 - raised again in the caller
            self.error = exc
        self._done.release()

    def wait(self, limit_s: float) -> bool:
        """Return whether the job ended within the limit."""
        return self._done.acquire(timeout=limit_s)


class InstrumentWorker:
    """Fulfils `Owner` in a thread of its own.

    Parameters
    ----------
    instrument
        Alias and resource, for messages and the thread's name.
    """

    def __init__(self, instrument: str) -> None:
        self._instrument = instrument
        self._jobs: queue.SimpleQueue[Callable[[], object] | None] = queue.SimpleQueue()
        self._closed = False
        # A daemon: a foreign library that hangs must not keep the program from ending.
        self._thread = threading.Thread(target=self._work, name=instrument, daemon=True)
        self._thread.start()

    def call(self, job: Callable[[], T], limit_s: float) -> T:
        """See `Owner`; the limit is for links that break their deadlines."""
        if self._closed:
            raise _has_been_closed(self._instrument)
        call = _Call(job)
        self._jobs.put(call.run)
        try:
            ended = call.wait(limit_s)
        finally:
            # Given up or interrupted: what had not begun never will.
            call.claim()
        if not ended:
            raise _still_busy(self._instrument, limit_s)
        if call.error is not None:
            try:
                raise call.error
            finally:
                # Its traceback leads to this frame: without this the two would keep each other.
                del call
        return call.results[0]

    def close(self, last: Callable[[], None]) -> None:
        """Run `last` in the owner thread and end it; returns within 1.5 s in any case."""
        if self._closed:
            return
        self._closed = True
        self._jobs.put(last)
        self._jobs.put(None)
        self._thread.join(_CLOSE_LIMIT_S)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()


def _still_busy(instrument: str, limit_s: float) -> LinkTimeout:
    return LinkTimeout(
        f"The link was still busy after {limit_s:g} s.",
        instrument=instrument,
        hint="the instrument or its VISA library hangs: switch the instrument off and on.",
    )


def _has_been_closed(instrument: str) -> LinkLost:
    return LinkLost("The instrument has been closed.", instrument=instrument)
