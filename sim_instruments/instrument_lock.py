"""The lock that links such as VXI-11 and HiSLIP let a controller have."""

from __future__ import annotations

import threading


class InstrumentLock:
    """The lock that one of several controllers may hold on an instrument."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._holder: int | None = None
        self._closed = False

    @property
    def holder(self) -> int | None:
        """Number of the controller that holds it, if any."""
        return self._holder

    def acquire(self, who: int, limit_s: float) -> bool:
        """Take the lock, waiting so long at most; whether it was got."""
        with self._changed:
            if not self._free_for(who, limit_s):
                return False
            self._holder = who
            return True

    def passes(self, who: int, limit_s: float) -> bool:
        """Whether nobody else holds it, or gives it up within the limit."""
        with self._changed:
            return self._free_for(who, limit_s)

    def release(self, who: int) -> bool:
        """Give it back; whether `who` had it."""
        with self._changed:
            if self._holder != who:
                return False
            self._holder = None
            self._changed.notify_all()
            return True

    def close(self) -> None:
        """Let everybody who waits go, without the lock."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def _free_for(self, who: int, limit_s: float) -> bool:
        self._changed.wait_for(lambda: self._closed or self._holder in (None, who), limit_s)
        return not self._closed and self._holder in (None, who)
