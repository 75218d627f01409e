"""A bare socket and Debian's netcat against the raw socket."""

from __future__ import annotations

import socket
import subprocess

import pytest

IDENTITY = "TORVSTAD,DM-6,5521,2.0"


@pytest.fixture
def address(serve):
    """Where the multimeter listens."""
    served = serve({"torvstad-dm6": "TCPIP::127.0.0.1::0::SOCKET"})
    _, host, port, _ = served.resources["TCPIP::127.0.0.1::0::SOCKET"].replace("::", " ").split()
    return host, int(port)


def test_a_bare_socket(address):
    """Compound query, error queue, and two messages in one packet."""
    with socket.create_connection(address, 5) as client, client.makefile("rb") as lines:
        client.sendall(b"*CLS;*IDN?;NONSENSE\nSYST:ERR?\n")
        assert lines.readline() == IDENTITY.encode() + b"\n"
        assert lines.readline() == b'-113,"Undefined header"\n'
        client.sendall(b"MEAS:VOLT:AC?\n")
        assert 0.1 < float(lines.readline()) < 1.0


def test_netcat(address, program):
    """What a person types, and what a person reads."""
    answer = subprocess.run(
        [program("nc", "netcat-openbsd"), "-N", *map(str, address)],
        input=b"*IDN?\nSYST:VERS?\n",
        capture_output=True,
        timeout=10,
        check=True,
    )
    assert answer.stdout.decode() == f"{IDENTITY}\n1999.0\n"
