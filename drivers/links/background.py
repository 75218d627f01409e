"""Run a call that may hang in a thread of its own and stop waiting at a limit."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import TypeVar

T = TypeVar("T")


def start(job: Callable[[], T], name: str) -> Future[T]:
    """Start `job` in a daemon thread, which never keeps the program from ending."""
    future: Future[T] = Future()

    def run() -> None:
        try:
            future.set_result(job())
        except BaseException as exc:  # noqa: BLE001 - handed to whoever asks for the result
            future.set_exception(exc)

    threading.Thread(target=run, name=name, daemon=True).start()
    return future
