from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from daq.clock import Clock, SystemClock
from tests.drivers.tiny_server import Handler, TinyPty, TinyServer


@pytest.fixture
def clock() -> Clock:
    return SystemClock()


@pytest.fixture
def serve() -> Iterator[Callable[[Handler], TinyServer]]:
    """Start a misbehaving server; all are closed at the end."""
    servers: list[TinyServer] = []

    def start(handler: Handler) -> TinyServer:
        servers.append(TinyServer(handler))
        return servers[-1]

    yield start
    for server in servers:
        server.close()


@pytest.fixture
def line() -> Iterator[TinyPty]:
    """A serial line whose far end the test holds."""
    tiny = TinyPty()
    yield tiny
    tiny.unplug()
