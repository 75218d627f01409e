"""Which screen may act: a one-time token is exchanged for a cookie; both end with the run.

On the loopback address everybody who can reach the page may act. On a network only the screen
that held the token first may; all others look. A new token (`Pairing.renew`) ends what was before.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

COOKIE: Final = "__Host-trimbench"
"""The prefix makes a browser insist on TLS, on the whole host and on no other domain."""

TOKEN_BYTES: Final = 18
"""144 bits: cannot be guessed in the life of a run, and fits a small QR code."""


class Pairing:
    """The token of one run and the cookie that it was exchanged for.

    Parameters
    ----------
    needed
        Whether a screen has to be paired before it may act.
    """

    def __init__(self, *, needed: bool) -> None:
        self._needed = needed
        self._lock = threading.Lock()
        self._token: str | None = secrets.token_urlsafe(TOKEN_BYTES) if needed else None
        self._cookie: str | None = None
        self._expired = False

    @property
    def token(self) -> str:
        """The token that is still to be used; empty when there is none."""
        with self._lock:
            return self._token or ""

    def exchange(self, token: str) -> str | None:
        """Return the cookie for the token, once; None for a wrong or a used one."""
        with self._lock:
            if self._token is None or not _same(token, self._token):
                return None
            self._token = None
            self._cookie = secrets.token_urlsafe(32)
            return self._cookie

    def renew(self) -> bool:
        """Make a new token and end the old one and the cookie; return whether a screen had it.

        Once everything has ended (`expire`) it stays so.
        """
        with self._lock:
            was_paired = self._cookie is not None
            self._cookie = None
            if self._needed and not self._expired:
                self._token = secrets.token_urlsafe(TOKEN_BYTES)
            return was_paired

    def may_act(self, cookie: str | None) -> bool:
        """Whether a screen with this cookie may act."""
        with self.acting(cookie) as may:
            return may

    @contextmanager
    def acting(self, cookie: str | None) -> Iterator[bool]:
        """Yield whether a screen with this cookie may act; it is not let go within the block."""
        with self._lock:
            paired = self._cookie is not None and cookie is not None
            yield not self._needed or (paired and _same(cookie or "", self._cookie or ""))

    def expire(self) -> None:
        """End token and cookie: from now on nobody may act."""
        with self._lock:
            self._needed, self._token, self._cookie, self._expired = True, None, None, True


def _same(given: str, right: str) -> bool:
    return hmac.compare_digest(given.encode(), right.encode())
