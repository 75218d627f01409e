"""Servers of a few lines that misbehave in exactly one way."""

from __future__ import annotations

import contextlib
import os
import pty
import socket
import threading
import tty
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

Handler = Callable[[socket.socket], None]


class TinyServer:
    """Listens on loopback; runs `handler` for each connection in a thread of its own."""

    def __init__(self, handler: Handler) -> None:
        self._handler = handler
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._connections: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self.opened = 0
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    @property
    def port(self) -> int:
        port: int = self._listener.getsockname()[1]
        return port

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.opened += 1
            thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
            self._connections.append(connection)
            self._threads.append(thread)
            thread.start()

    def _serve(self, connection: socket.socket) -> None:
        with connection, contextlib.suppress(OSError):
            self._handler(connection)

    def drop_clients(self) -> None:
        for connection in self._connections:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._accepting.join(2)
        self.drop_clients()
        for thread in self._threads:
            thread.join(2)


def lines(connection: socket.socket, terminator: bytes = b"\n") -> Iterator[bytes]:
    """Yield each line that a client sends."""
    buffer = b""
    while data := connection.recv(65536):
        buffer += data
        *whole, buffer = buffer.split(terminator)
        yield from whole


def answering(
    answers: Mapping[bytes, bytes], terminator: bytes = b"\n", otherwise: bytes = b""
) -> Handler:
    """Return a handler that answers from a table; what is not in it gets `otherwise`."""

    def handle(connection: socket.socket) -> None:
        for line in lines(connection, terminator):
            connection.sendall(answers.get(line, otherwise))

    return handle


class TinyPty:
    """A serial line whose far end is in the test's hands."""

    def __init__(self, link: Path | None = None) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self._slave = slave
        self._threads: list[threading.Thread] = []
        if link is not None:
            link.unlink(missing_ok=True)
            link.symlink_to(self.path)

    @property
    def resource(self) -> str:
        return f"ASRL{self.path}::INSTR"

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def serve(self, answer: Callable[[bytes], bytes], terminator: bytes = b"\n") -> None:
        """Answer each line in a thread, until the line is closed."""

        def run() -> None:
            buffer = b""
            with contextlib.suppress(OSError):
                while data := os.read(self.master, 65536):
                    buffer += data
                    *whole, buffer = buffer.split(terminator)
                    for line in whole:
                        os.write(self.master, answer(line))

        thread = threading.Thread(target=run, daemon=True)
        self._threads.append(thread)
        thread.start()

    def unplug(self) -> None:
        """Let the port vanish from under whoever has it open."""
        for descriptor in (self._slave, self.master):
            with contextlib.suppress(OSError):
                os.close(descriptor)
