"""The bench over a TCP socket, with the standard library as an independent client."""

from __future__ import annotations

import socket
import threading

import pytest

from sim_instruments.sessions import LinkDropped
from sim_instruments.tcp_server import TcpServer


class Upper:
    """Answers in capitals."""

    def feed(self, data: bytes) -> bytes:
        return data.upper()


@pytest.fixture
def server():
    """A server on a port that the system chose."""
    running = TcpServer(Upper)
    yield running
    running.close()


def test_several_clients_at_a_time(server):
    """Each gets its own answer."""
    with (
        socket.create_connection(server.address, 2) as one,
        socket.create_connection(server.address, 2) as other,
    ):
        other.sendall(b"b")
        one.sendall(b"a")
        assert one.recv(10) == b"A"
        assert other.recv(10) == b"B"


def test_a_client_that_leaves_harms_nobody(server):
    """The next one is served."""
    for _ in range(5):
        with socket.create_connection(server.address, 2) as client:
            client.sendall(b"x" * 10_000)
    with socket.create_connection(server.address, 2) as client:
        client.sendall(b"still there")
        assert client.recv(20) == b"STILL THERE"


def test_dropped_clients_see_the_end_and_may_come_back(server):
    """As when a cable is pulled out and put back."""
    with socket.create_connection(server.address, 2) as client:
        client.sendall(b"a")
        assert client.recv(10) == b"A"
        server.drop_clients()
        assert client.recv(10) == b""
    with socket.create_connection(server.address, 2) as client:
        client.sendall(b"b")
        assert client.recv(10) == b"B"


def test_closing_frees_the_port_and_leaves_no_thread():
    """Connected clients see the end; the address can be used again at once."""
    before = threading.active_count()
    running = TcpServer(Upper)
    address = running.address
    with socket.create_connection(address, 2) as client:
        client.sendall(b"a")
        assert client.recv(10) == b"A"
        running.close()
        running.close()
        assert client.recv(10) == b""
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(address, 2)
    assert threading.active_count() == before
    TcpServer(Upper, *address).close()


class Clock:
    """Says the time unasked; drops the link when it is asked for more."""

    def __init__(self) -> None:
        self.hung_up = threading.Event()

    def feed(self, data: bytes) -> bytes:
        raise LinkDropped(last_words=b"enough")

    def speak(self, gone: threading.Event) -> bytes:
        gone.wait(0.005)
        return b"tick "

    def hang_up(self) -> None:
        self.hung_up.set()


def test_a_session_may_speak_unasked_and_break_the_link():
    """Its last words still come; it is told that the client is gone; no thread is left."""
    before = threading.active_count()
    session = Clock()
    running = TcpServer(lambda: session)
    with socket.create_connection(running.address, 2) as client:
        assert client.recv(5) == b"tick "
        client.sendall(b"more")
        heard = b""
        while data := client.recv(100):
            heard += data
    assert heard.replace(b"tick ", b"") == b"enough"
    assert session.hung_up.wait(2)
    running.close()
    assert threading.active_count() == before


def test_a_session_that_cannot_begin_closes_the_door():
    """The client sees the end at once; the server goes on."""

    def refuse() -> Upper:
        raise LinkDropped

    running = TcpServer(refuse)
    for _ in range(2):
        with socket.create_connection(running.address, 2) as client:
            assert client.recv(1) == b""
    running.close()


def test_an_address_in_use_is_refused(server):
    """Two benches cannot listen on one port."""
    with pytest.raises(OSError, match="in use"):
        TcpServer(Upper, *server.address)
