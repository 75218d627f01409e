"""The port mapper (RFC 1833) over TCP and UDP on any port."""

from __future__ import annotations

import socket
import struct
import threading

import pytest

from sim_instruments.port_mapper import PortMap, PortMapper
from sim_instruments.rpc import NoProcedure
from sim_instruments.xdr import Unpacker, packed


def test_getport_and_dump():
    """RFC 1833, 3.2: the port, or 0 where there is none; the list ends with 0."""
    ports = PortMap({(0x0607AF, 1): 4711})
    assert ports.call(3, Unpacker(packed(0x0607AF, 1, 6, 0))) == packed(4711)
    assert ports.call(3, Unpacker(packed(0x0607AF, 1, 17, 0))) == packed(0)
    assert ports.call(3, Unpacker(packed(0x0607AF, 2, 6, 0))) == packed(0)
    assert ports.call(4, Unpacker(b"")) == packed(1, 0x0607AF, 1, 6, 4711, 0)
    with pytest.raises(NoProcedure):
        ports.call(1, Unpacker(b""))


def test_both_transports_answer_and_end():
    """The same call as a datagram and as a record; no thread is left."""
    before = threading.active_count()
    mapper = PortMapper({(0x0607AF, 1): 4711}, port=0)
    call = struct.pack(">14I", 9, 0, 2, 100_000, 2, 3, 0, 0, 0, 0, 0x0607AF, 1, 6, 0)
    reply = struct.pack(">7I", 9, 1, 0, 0, 0, 0, 4711)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as udp:
        udp.settimeout(2)
        udp.sendto(b"nonsense", mapper.address)
        udp.sendto(call, mapper.address)
        assert udp.recv(100) == reply
    with socket.create_connection(mapper.address, 2) as tcp:
        tcp.sendall(struct.pack(">I", 0x8000_0000 | len(call)) + call)
        assert tcp.recv(100) == struct.pack(">I", 0x8000_0000 | len(reply)) + reply
    mapper.close()
    mapper.close()
    assert threading.active_count() <= before
