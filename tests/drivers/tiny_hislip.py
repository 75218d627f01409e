"""A HiSLIP server of a few lines (IVI-6.1), enough for one client of pyvisa-py.

Written from memory of the standard: prologue ``HS``, type, control, parameter, length.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
from collections.abc import Callable

_HEAD = struct.Struct(">2sBBIQ")
INITIALIZE, INITIALIZE_RESPONSE, DATA, DATA_END = 0, 1, 6, 7
CLEAR_COMPLETE, CLEAR_ACKNOWLEDGE = 8, 9
MAXIMUM_SIZE, MAXIMUM_SIZE_RESPONSE = 15, 16
ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE, ASYNC_CLEAR, ASYNC_CLEAR_ACKNOWLEDGE = 17, 18, 19, 23


class TinyHislip:
    """Answers each message by `answer`; None stays silent."""

    def __init__(self, answer: Callable[[bytes], bytes | None]) -> None:
        self._answer = answer
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._connections: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::hislip0,{self._listener.getsockname()[1]}::INSTR"

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
            self._connections.append(connection)
            self._threads.append(thread)
            thread.start()

    def _serve(self, connection: socket.socket) -> None:
        stream = connection.makefile("rb")
        received = b""
        with connection, stream, contextlib.suppress(OSError):
            while head := stream.read(_HEAD.size):
                _, kind, _, parameter, length = _HEAD.unpack(head)
                payload = stream.read(length)
                if kind in (DATA, DATA_END):
                    received += payload
                    if kind == DATA_END:
                        answer = self._answer(received)
                        received = b""
                        if answer is not None:
                            send(connection, DATA_END, parameter, answer)
                else:
                    control(connection, kind)

    def drop(self) -> None:
        for connection in self._connections:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._accepting.join(2)
        self.drop()
        for thread in self._threads:
            thread.join(2)


def send(connection: socket.socket, kind: int, parameter: int = 0, payload: bytes = b"") -> None:
    connection.sendall(_HEAD.pack(b"HS", kind, 0, parameter, len(payload)) + payload)


def control(connection: socket.socket, kind: int) -> None:
    if kind == INITIALIZE:
        send(connection, INITIALIZE_RESPONSE, 0x0100_0001)
    elif kind == ASYNC_INITIALIZE:
        send(connection, ASYNC_INITIALIZE_RESPONSE)
    elif kind == MAXIMUM_SIZE:
        send(connection, MAXIMUM_SIZE_RESPONSE, 0, struct.pack(">Q", 1 << 20))
    elif kind == ASYNC_CLEAR:
        send(connection, ASYNC_CLEAR_ACKNOWLEDGE)
    elif kind == CLEAR_COMPLETE:
        send(connection, CLEAR_ACKNOWLEDGE)
