"""Serve anything that eats and gives bytes over a TCP socket, to several clients at a time."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable

from sim_instruments.sessions import HangsUp, LinkDropped, Session, Speaks


class TcpServer:
    """A listening socket, a thread that accepts and one thread a client.

    A session that speaks unasked has a second thread for that.

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
        self._clients: set[socket.socket] = set()
        self._threads: list[threading.Thread] = []
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
        self.drop_clients()
        for thread in self._threads:
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
                self._clients.add(client)
            self._threads = [one for one in self._threads if one.is_alive()] + [thread]
            thread.start()

    def _serve(self, client: socket.socket) -> None:
        try:
            _converse(client, self._make_session())
        except (OSError, LinkDropped):
            # The client went away in the middle, or is thrown out; there is nobody to tell.
            pass
        finally:
            with self._lock:
                self._clients.discard(client)
            client.close()


class _Sender:
    """Send one answer at a time, though two threads have something to say."""

    def __init__(self, client: socket.socket) -> None:
        self._client = client
        self._lock = threading.Lock()

    def __call__(self, data: bytes) -> None:
        if data:
            with self._lock:
                self._client.sendall(data)

    def break_off(self) -> None:
        """End the connection; the thread that reads from it notices."""
        with contextlib.suppress(OSError):
            self._client.shutdown(socket.SHUT_RDWR)


def _converse(client: socket.socket, session: Session) -> None:
    """Let session and client talk until either has enough."""
    gone = threading.Event()
    send = _Sender(client)
    speaker: threading.Thread | None = None
    if isinstance(session, Speaks):
        speaker = threading.Thread(target=_speak, args=(session, send, gone), daemon=True)
        speaker.start()
    try:
        while data := client.recv(65_536):
            send(session.feed(data))
    except LinkDropped as drop:
        send(drop.last_words)
    finally:
        gone.set()
        # A speaker that waits for a client who does not read is woken by this.
        send.break_off()
        if isinstance(session, HangsUp):
            session.hang_up()
        if speaker is not None:
            speaker.join()


def _speak(session: Speaks, send: _Sender, gone: threading.Event) -> None:
    try:
        while not gone.is_set():
            send(session.speak(gone))
    except LinkDropped as drop:
        with contextlib.suppress(OSError):
            send(drop.last_words)
        send.break_off()
    except OSError:
        send.break_off()
