"""Serve anything that eats and gives bytes over a TCP socket, to several clients at a time."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable
from typing import Protocol


class Session(Protocol):
    """One client's line to an instrument: bytes in, bytes out."""

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return what is to be sent; takes as long as the instrument does."""


class TcpServer:
    """A listening socket, a thread that accepts and one thread a client.

    Parameters
    ----------
    make_session
        Called once a client.
    host, port
        Where to listen; port 0 lets the system choose.

    Raises
    ------
    OSError
        The address is in use or not ours.
    """

    def __init__(
        self, make_session: Callable[[], Session], host: str = "127.0.0.1", port: int = 0
    ) -> None:
        self._make_session = make_session
        self._listener = socket.create_server((host, port))
        self._lock = threading.Lock()
        self._clients: dict[socket.socket, threading.Thread] = {}
        self._closing = False
        self._acceptor = threading.Thread(target=self._accept, name=f"accept {port}", daemon=True)
        self._acceptor.start()

    @property
    def address(self) -> tuple[str, int]:
        """Host and port that clients connect to."""
        host, port = self._listener.getsockname()[:2]
        return str(host), int(port)

    def drop_clients(self) -> None:
        """Break every connection, as a cable pulled out does; new ones are welcome."""
        with self._lock:
            clients = list(self._clients)
        for client in clients:
            with contextlib.suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Stop listening, drop all clients and wait for the threads; harmless when repeated."""
        if self._closing:
            return
        self._closing = True
        with contextlib.suppress(OSError):
            # Closing alone does not wake a thread that waits in accept.
            self._listener.shutdown(socket.SHUT_RDWR)
        self._acceptor.join()
        self._listener.close()
        with self._lock:
            threads = list(self._clients.values())
        self.drop_clients()
        for thread in threads:
            thread.join()

    def _accept(self) -> None:
        while not self._closing:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            thread = threading.Thread(target=self._serve, args=(client,), daemon=True)
            with self._lock:
                self._clients[client] = thread
            thread.start()

    def _serve(self, client: socket.socket) -> None:
        session = self._make_session()
        try:
            while data := client.recv(65_536):
                client.sendall(session.feed(data))
        except OSError:
            # The client went away in the middle; there is nobody to tell.
            pass
        finally:
            with self._lock:
                del self._clients[client]
            client.close()
