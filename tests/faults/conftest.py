from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest

from daq.clock import SystemClock
from tests.drivers.tiny_server import Handler, TinyServer


@pytest.fixture(autouse=True)
def nothing_kept(caplog: pytest.LogCaptureFixture) -> None:
    """Keep pytest from keeping pyvisa's log records: their tracebacks hold sockets open."""
    caplog.set_level(logging.CRITICAL, logger="pyvisa")


@pytest.fixture
def clock_of_ours() -> SystemClock:
    """The machine's own clock: links wait on it for real."""
    return SystemClock()


@pytest.fixture
def serve() -> Iterator[Callable[[Handler], TinyServer]]:
    """Start a misbehaving server; all are closed at the end."""
    with ExitStack() as stack:

        def start(handler: Handler) -> TinyServer:
            server = TinyServer(handler)
            stack.callback(server.close)
            return server

        yield start
