"""The door: who may ask, how often and how much, and what a browser may do with the answer.

A plain ASGI layer around everything else. Host is checked against the names that the page was
opened under (DNS rebinding), Origin and Sec-Fetch-Site against the page itself (requests that
another site's page makes), and WebSocket handshakes are refused whatever their origin: the page
uses none.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from daq.clock import Clock

MAX_BODY: Final = 4096
"""Longest body of a request, bytes; an answer is a line of text."""

ACTIONS_PER_S: Final = 4.0
"""Sustained rate of requests that change something, from one address."""

REQUESTS_PER_S: Final = 80.0
"""Sustained rate of all requests from one address; a page loads about twenty files."""

BURST_S: Final = 3.0
"""How many seconds of the sustained rate may come at once."""

_ADDRESSES: Final = 512
"""How many addresses are remembered; the longest unseen is forgotten first."""

HEADERS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "content-security-policy": (
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
            "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
            "require-trusted-types-for 'script'; trusted-types 'none'"
        ),
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "permissions-policy": "camera=(), microphone=(), geolocation=()",
        "cache-control": "no-store",
    }
)


class Bucket:
    """A token bucket per address: `rate` a second, `BURST_S` seconds' worth at once."""

    def __init__(self, clock: Clock, rate: float) -> None:
        self._clock = clock
        self._rate = rate
        self._level: OrderedDict[str, tuple[float, int]] = OrderedDict()

    def allows(self, address: str) -> bool:
        """Whether one more request from `address` is within the rate; it is counted."""
        now_ns = self._clock.monotonic_ns()
        full = self._rate * BURST_S
        level, then_ns = self._level.pop(address, (full, now_ns))
        level = min(full, level + self._rate * (now_ns - then_ns) / 1e9)
        allowed = level >= 1.0
        self._level[address] = (level - 1.0 if allowed else level, now_ns)
        if len(self._level) > _ADDRESSES:
            self._level.popitem(last=False)
        return allowed


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a request is not let in."""

    status: int
    why: str


class Guard:
    """Let in what belongs to the page.

    Parameters
    ----------
    app
        What is guarded.
    hosts
        Names with port under which the page was opened: ``127.0.0.1:8471``.
    secure
        Whether it is served over TLS.
    clock
        For the rates.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str], clock: Clock, *, secure: bool) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        scheme = "https" if secure else "http"
        self._origins = frozenset(f"{scheme}://{host}" for host in hosts)
        self._all = Bucket(clock, REQUESTS_PER_S)
        self._actions = Bucket(clock, ACTIONS_PER_S)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """See ASGI."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
            return
        refusal = self._refusal(scope)
        answer: ASGIApp = self._app
        if refusal is not None:
            answer = JSONResponse({"error": refusal.why}, status_code=refusal.status)
        await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Refusal | None:
        headers = Headers(scope=scope)
        address = (scope.get("client") or ("",))[0]
        if headers.getlist("host") not in [[host] for host in self._hosts]:
            return Refusal(421, "This page is not served under that name.")
        if not self._all.allows(address):
            return Refusal(429, "Too many requests.")
        origin = headers.get("origin")
        if origin is not None and origin not in self._origins:
            return Refusal(403, "Another site's page may not ask.")
        if scope["method"] in ("GET", "HEAD"):
            return None
        return self._action_refusal(headers, origin, address)

    def _action_refusal(self, headers: Headers, origin: str | None, address: str) -> Refusal | None:
        if origin is None or headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return Refusal(403, "Only the page itself may act.")
        if headers.get("content-type") != "application/json":
            return Refusal(415, "JSON is expected.")
        length = headers.get("content-length", "")
        if not length.isdigit():
            return Refusal(411, "The length of the body is missing.")
        if int(length) > MAX_BODY:
            return Refusal(413, "The body is too long.")
        if not self._actions.allows(address):
            return Refusal(429, "Too many actions.")
        return None


def _with_headers(send: Send) -> Send:
    async def wrapped(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return wrapped
