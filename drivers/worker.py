"""One owner thread for each instrument: nobody else ever touches its link."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as FutureTimeout
from typing import Final, TypeVar

from daq.errors import LinkLost, LinkTimeout

T = TypeVar("T")

_CLOSE_LIMIT_S: Final = 1.5


class InstrumentWorker:
    """Runs jobs one after another in its own thread.

    Parameters
    ----------
    instrument
        Alias and resource, for messages and the thread's name.
    """

    def __init__(self, instrument: str) -> None:
        self._instrument = instrument
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._closed = False
        # A daemon: a foreign library that hangs must not keep the program from ending.
        self._thread = threading.Thread(target=self._work, name=instrument, daemon=True)
        self._thread.start()

    def call(self, job: Callable[[], T], limit_s: float) -> T:
        """Run `job` in the owner thread and return its result.

        Parameters
        ----------
        job
            Has its own deadline; the limit is for links that break theirs.
        limit_s
            Longest wait of the caller, seconds.

        Raises
        ------
        LinkTimeout
            The limit passed; a job that had not begun never will.
        LinkLost
            The instrument was closed.
        """
        if self._closed:
            raise LinkLost("The instrument has been closed.", instrument=self._instrument)
        future: Future[T] = Future()

        def run() -> None:
            if not future.set_running_or_notify_cancel():
                return
            try:
                future.set_result(job())
            except BaseException as exc:  # noqa: BLE001 - raised again in the caller
                future.set_exception(exc)

        self._jobs.put(run)
        try:
            return future.result(limit_s)
        except FutureTimeout as exc:
            if future.done():
                raise
            raise LinkTimeout(
                f"The link was still busy after {limit_s:g} s.",
                instrument=self._instrument,
                hint="the instrument or its VISA library hangs: switch the instrument off and on.",
            ) from exc
        finally:
            future.cancel()

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
