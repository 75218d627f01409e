"""A relay between a browser and the page that can be cut, as a network is.

The page checks its own name. So either it listens at another loopback address with the page's own
port, and the browser is told that ``localhost`` is there; or it listens at another port, for a
browser that cannot be told, and puts right what that one says of the port.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from types import TracebackType
from typing import Self
from urllib.parse import urlsplit

ADDRESS = "127.0.0.2"


class Relay:
    """Pass bytes both ways until cut; a context manager.

    Parameters
    ----------
    url
        The page's address.
    renames
        Whether to listen at another port.

    Attributes
    ----------
    asked
        What the browser sent, piece by piece.
    """

    def __init__(self, url: str, *, renames: bool = False) -> None:
        where = urlsplit(url)
        self._far = (where.hostname or "", where.port or 0)
        self._listener = socket.create_server(
            (self._far[0], 0) if renames else (ADDRESS, self._far[1])
        )
        port = self._listener.getsockname()[1]
        self._ports = (f":{port}".encode(), f":{self._far[1]}".encode())
        self._open: list[socket.socket] = []
        self._cut = False
        self._thread = threading.Thread(target=self._accept, daemon=True)
        self.asked: list[bytes] = []
        self.url = f"http://{self._far[0] if renames else 'localhost'}:{port}/"

    def cut(self) -> None:
        """Break every connection, and each new one at once."""
        self._cut = True
        for line in self._open:
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
            line.close()
        self._open.clear()

    def mend(self) -> None:
        """Let connections through again."""
        self._cut = False

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.cut()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join(2.0)

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self._cut:
                near.close()
                continue
            far = socket.create_connection(self._far)
            self._open += [near, far]
            for ends in ((near, far, self.asked, self._ports), (far, near, [], (b"", b""))):
                threading.Thread(target=_pump, args=ends, daemon=True).start()


def _pump(
    source: socket.socket, sink: socket.socket, seen: list[bytes], ports: tuple[bytes, bytes]
) -> None:
    with contextlib.suppress(OSError):
        while data := source.recv(65536):
            seen.append(data[:2000])
            sink.sendall(data.replace(*ports) if ports[0] else data)
    for line in (source, sink):
        with contextlib.suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)
