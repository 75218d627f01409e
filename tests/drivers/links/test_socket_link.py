"""A raw socket hands over the bytes that came, or says at once and by kind what is wrong."""

from __future__ import annotations

import socket
import threading
import time
from pathlib import Path

import pytest

from daq.errors import LinkLost, LinkRefused, LinkTimeout
from drivers.links.socket_link import SocketLink
from tests.drivers.tiny_server import answering, lines
from tests.support.clocks import within


def connect(server, clock, timeout_s=1.0):
    return SocketLink(server.resource, "127.0.0.1", server.port, clock=clock, timeout_s=timeout_s)


def hold(connection: socket.socket) -> None:
    """Accept and do nothing until the client goes."""
    while connection.recv(65536):
        pass


def test_a_closed_port_is_refused_at_open(clock):
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(LinkRefused, match=f"Nobody listens on port {port}"):
        SocketLink("TCPIP::x", "127.0.0.1", port, clock=clock, timeout_s=1.0)


@pytest.mark.parametrize("host", ["", "no such host", "a" * 70 + ".example"])
def test_a_name_that_cannot_be_resolved_is_refused_at_open(clock, host):
    with pytest.raises(LinkRefused):
        SocketLink("TCPIP::x", host or "256.256.256.256", 1, clock=clock, timeout_s=1.0)


def test_a_peer_that_closes_is_lost_at_once_and_costs_no_processor_time(serve, clock):
    server = serve(lambda connection: connection.shutdown(socket.SHUT_RDWR))
    link = connect(server, clock)
    wall, cpu = time.perf_counter(), time.thread_time()
    with pytest.raises(LinkLost, match="closed the connection"):
        link.read(5.0)
    link.close()
    assert time.perf_counter() - wall < 4.0
    assert time.thread_time() - cpu < 0.1


def test_waiting_for_silence_costs_no_processor_time(serve, clock):
    link = connect(serve(hold), clock)
    wall, cpu = time.perf_counter(), time.thread_time()
    with pytest.raises(LinkTimeout, match=r"Nothing arrived within 0\.2 s"):
        link.read(0.2)
    link.close()
    assert time.perf_counter() - wall > 0.19
    assert time.thread_time() - cpu < 0.05


def test_a_peer_that_stops_reading_breaks_the_write_at_its_deadline(serve, clock):
    done = threading.Event()
    link = connect(serve(lambda connection: done.wait(5) and None), clock)
    with (
        within(0.1),
        pytest.raises(LinkTimeout, match=r"of 50000000 bytes were taken within 0\.1 s"),
    ):
        link.write(bytes(50_000_000), 0.1)
    link.close()
    done.set()


def test_two_writes_and_a_query_do_not_wait_for_an_acknowledgement(serve, clock):
    """Nagle's algorithm with delayed acknowledgement costs 40 ms (measured, bench notes)."""

    def handle(connection):
        for line in lines(connection):
            if line.endswith(b"?"):
                connection.sendall(b"1\n")

    link = connect(serve(handle), clock)
    assert link._socket.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    fastest = 1.0
    for _ in range(5):
        began = time.perf_counter()
        link.write(b"A\n", 1.0)
        link.write(b"B\n", 1.0)
        link.write(b"C?\n", 1.0)
        link.read(1.0)
        fastest = min(fastest, time.perf_counter() - began)
    link.close()
    assert fastest < 0.02


def test_clear_returns_from_a_silent_peer_and_drops_what_was_waiting(serve, clock):
    sent = threading.Event()

    def handle(connection):
        connection.sendall(b"old answer\n")
        sent.set()
        hold(connection)

    link = connect(serve(handle), clock)
    sent.wait(1)
    link.clear(0.5)
    with pytest.raises(LinkTimeout):
        link.read(0.0)
    link.close()


def test_clear_gives_up_on_a_peer_that_never_falls_silent(serve, clock):
    stop = threading.Event()

    def flood(connection):
        # So much that something always waits to be read, even when this thread is held up.
        while not stop.is_set():
            connection.sendall(b"x\n" * 50_000)

    link = connect(serve(flood), clock)
    with within(0.15), pytest.raises(LinkTimeout, match="would not fall silent"):
        link.clear(0.15)
    stop.set()
    link.close()


def test_clear_on_a_closed_peer_says_that_it_is_lost(serve, clock):
    link = connect(serve(lambda connection: None), clock)
    with pytest.raises(LinkLost):
        link.clear(1.0)
    link.close()
    link.close()


def test_a_closed_link_is_lost(serve, clock):
    link = connect(serve(hold), clock)
    link.close()
    with pytest.raises(LinkLost):
        link.read(0.1)
    with pytest.raises(LinkLost):
        link.write(b"x", 0.1)


def test_two_hundred_reconnects_leave_no_descriptor_and_no_thread(serve, clock):
    server = serve(answering({b"?": b"1\n"}))

    def visit() -> None:
        link = connect(server, clock)
        link.write(b"?\n", 1.0)
        assert link.read(1.0).data == b"1\n"
        link.close()

    visit()
    descriptors, threads = open_descriptors(), threading.active_count()
    for _ in range(200):
        visit()
    until = time.perf_counter() + 2
    while threading.active_count() > threads and time.perf_counter() < until:
        time.sleep(0.002)  # the server's own threads are about to end
    assert open_descriptors() <= descriptors + 1
    assert threading.active_count() <= threads


def open_descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))
