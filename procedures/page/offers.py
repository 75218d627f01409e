"""What may be answered right now, and what a screen answered: each question at most once.

A screen sends the id of the question that it saw. An answer to a question that is closed, or
that another screen has answered, is refused, so two screens never act twice on one question.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections import deque
from collections.abc import Sequence


class Offers:
    """The one open question, and what was offered as its answer.

    Written by the server's thread, taken by the run's thread, which can sleep on `descriptor`
    until there is something to take.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open = ""
        self._offered = False
        self._typed: deque[str] = deque()
        self.descriptor, self._bell = os.pipe()
        os.set_blocking(self.descriptor, False)
        os.set_blocking(self._bell, False)

    def open(self, question: str) -> None:
        """Let the question with this id be answered; any earlier one is closed."""
        with self._lock:
            self._open, self._offered = question, False
            self._typed.clear()
            self._silence()

    def close(self) -> bool:
        """Close the open question; return whether a screen's answer to it was taken whole."""
        with self._lock:
            taken = self._offered and not self._typed
            self._open, self._offered = "", False
            self._typed.clear()
            self._silence()
            return taken

    def offer(self, question: str, typed: Sequence[str]) -> bool:
        """Answer a question; return False when it is not open, or answered already.

        Parameters
        ----------
        typed
            The lines or keys that a person at the terminal would have typed.
        """
        with self._lock:
            if not question or question != self._open or self._offered:
                return False
            self._offered = True
            self._typed.extend(typed)
            os.write(self._bell, b".")
            return True

    def again(self) -> None:
        """Let the open question be answered once more: what was offered had no effect."""
        with self._lock:
            if not self._typed:
                self._offered = False

    def withdraw(self) -> None:
        """Forget what was offered and not taken: whoever offered it may not act any more."""
        with self._lock:
            if self._typed:
                self._offered = False
                self._typed.clear()
            self._silence()

    def take(self) -> str | None:
        """Return the next line or key that was offered, None when there is none."""
        with self._lock:
            self._silence()
            return self._typed.popleft() if self._typed else None

    def dispose(self) -> None:
        """Give the descriptors back; nothing can be offered afterwards."""
        with self._lock:
            self._open = ""
            if self.descriptor >= 0:
                os.close(self.descriptor)
                os.close(self._bell)
            self.descriptor = self._bell = -1

    def _silence(self) -> None:
        with contextlib.suppress(OSError):  # nothing rang, or the page is gone
            os.read(self.descriptor, 64)
