"""A VXI-11 server's three sockets; what clients make of it is in tests/independent."""

from __future__ import annotations

import socket
import struct
import threading

import pytest

from sim_instruments.scpi import ScpiInstrument, ScpiSession
from sim_instruments.vxi11_server import Vxi11Server


def make_session() -> ScpiSession:
    return ScpiSession(ScpiInstrument("A,B,C,D", {}, lambda: None))


def null_call(address: tuple[str, int], program: int, version: int) -> int:
    """Return accept_stat of a call of procedure 0."""
    call = struct.pack(">10I", 5, 0, 2, program, version, 0, 0, 0, 0, 0)
    with socket.create_connection(address, 2) as client:
        client.sendall(struct.pack(">I", 0x8000_0000 | len(call)) + call)
        return int(struct.unpack(">I", client.recv(100)[24:28])[0])


def test_the_mapper_is_optional_and_closing_leaves_nothing():
    """No thread, and the port is free again."""
    before = threading.active_count()
    server = Vxi11Server(make_session)
    assert server.mapper_address is None
    assert null_call(server.address, 0x0607AF, 1) == 0
    address = server.address
    server.close()
    server.close()
    assert threading.active_count() <= before
    Vxi11Server(make_session, *address, mapper_port=0).close()
    assert threading.active_count() <= before


def test_the_mapper_knows_both_channels():
    """GETPORT of the core and the abort program lead to ports that answer for them."""
    server = Vxi11Server(make_session, mapper_port=0)
    assert server.mapper_address is not None
    for program in (0x0607AF, 0x0607B0):
        call = struct.pack(">14I", 9, 0, 2, 100_000, 2, 3, 0, 0, 0, 0, program, 1, 6, 0)
        with socket.create_connection(server.mapper_address, 2) as mapper:
            mapper.sendall(struct.pack(">I", 0x8000_0000 | len(call)) + call)
            port = int(struct.unpack(">I", mapper.recv(100)[-4:])[0])
        assert null_call(("127.0.0.1", port), program, 1) == 0
    server.close()


@pytest.mark.parametrize("taken", ["port", "mapper_port"])
def test_an_address_that_is_taken_leaves_nothing_open(taken):
    """Neither a thread nor one of the other sockets."""
    before = threading.active_count()
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(OSError, match="in use"):
            Vxi11Server(make_session, **{taken: port})
    assert threading.active_count() <= before


def test_dropped_clients_lose_their_connection():
    """As when the cable is pulled out."""
    server = Vxi11Server(make_session)
    with socket.create_connection(server.address, 2) as client:
        while not server._core._clients:
            threading.Event().wait(0.001)
        server.drop_clients()
        assert client.recv(1) == b""
    server.close()
