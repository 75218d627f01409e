"""Every fault on every link: the server survives it, and lets go when it is closed.

What drivers make of the faults is another test's business; the clients here are bare sockets.
"""

from __future__ import annotations

import contextlib
import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from sim_instruments.bench import ServedBench, SimulatedBench
from sim_instruments.fault_panel import SLICE_S
from sim_instruments.faults import MENU, fault_from_words
from sim_instruments.hislip_messages import Kind, Message
from tests.support.clocks import within

IDENTITY = b"TORVSTAD,DM-6,5521,2.0\n"
MODEL = "torvstad-dm6"
RESOURCES = {
    "socket": "TCPIP::127.0.0.1::0::SOCKET",
    "serial": "ASRL./meter.tty::INSTR",
    "vxi11": "TCPIP::127.0.0.1,0::inst0::INSTR",
    "hislip": "TCPIP::127.0.0.1::hislip0,0::INSTR",
}
Ask = Callable[[bytes], bytes]
IMPATIENT_S = 0.03
PATIENT_S = 5.0


def descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def port_of(resource: str) -> int:
    return int(next(word for word in resource.replace(",", "::").split("::") if word.isdecimal()))


@contextlib.contextmanager
def on_socket(resource: str, limit_s: float) -> Iterator[Ask]:
    with socket.create_connection(("127.0.0.1", port_of(resource)), 5) as client:
        client.settimeout(limit_s)

        def ask(question: bytes) -> bytes:
            client.sendall(question)
            return client.recv(1000)

        yield ask


@contextlib.contextmanager
def on_serial(resource: str, limit_s: float) -> Iterator[Ask]:
    line = os.open(resource.removeprefix("ASRL").removesuffix("::INSTR"), os.O_RDWR | os.O_NOCTTY)

    def ask(question: bytes) -> bytes:
        os.write(line, question)
        os.set_blocking(line, False)
        for _ in range(round(limit_s / 0.003)):
            time.sleep(0.003)
            with contextlib.suppress(BlockingIOError):
                return os.read(line, 1000)
        raise TimeoutError

    try:
        yield ask
    finally:
        os.close(line)


@contextlib.contextmanager
def on_vxi11(resource: str, limit_s: float) -> Iterator[Ask]:
    with socket.create_connection(("127.0.0.1", port_of(resource)), 5) as client:
        client.settimeout(5 * limit_s)

        def call(procedure: int, arguments: bytes) -> bytes:
            head = struct.pack(">10I", 1, 0, 2, 0x0607AF, 1, procedure, 0, 0, 0, 0)
            record = head + arguments
            client.sendall(struct.pack(">I", 0x8000_0000 | len(record)) + record)
            return client.recv(1000)[28:]

        link = call(10, struct.pack(">4I8s", 1, 0, 0, 5, b"inst0"))[4:8]

        def ask(question: bytes) -> bytes:
            padded = question + bytes(-len(question) % 4)
            call(11, link + struct.pack(">4I", 10, 10, 8, len(question)) + padded)
            results = call(12, link + struct.pack(">5I", 1000, round(1000 * limit_s), 10, 0, 0))
            if len(results) < 12 or results[:4] != bytes(4):
                raise TimeoutError
            return results[12 : 12 + int.from_bytes(results[8:12], "big")]

        yield ask


@contextlib.contextmanager
def on_hislip(resource: str, limit_s: float) -> Iterator[Ask]:
    address = ("127.0.0.1", port_of(resource))
    with (
        socket.create_connection(address, 5) as client,
        socket.create_connection(address, 5) as other,
    ):
        client.sendall(Message(Kind.INITIALIZE, 0, 0x0100_0000, b"hislip0").packed())
        number = int.from_bytes(client.recv(16)[6:8], "big")
        other.sendall(Message(Kind.ASYNC_INITIALIZE, 0, number).packed())
        other.recv(16)
        client.settimeout(limit_s)

        def ask(question: bytes) -> bytes:
            client.sendall(Message(Kind.DATA_END, 1, 0, question).packed())
            return client.recv(1000)[16:]

        yield ask


CLIENTS = {"socket": on_socket, "serial": on_serial, "vxi11": on_vxi11, "hislip": on_hislip}


@pytest.fixture(params=RESOURCES)
def link(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def served(link: str, tmp_path: Path) -> Iterator[ServedBench]:
    """The multimeter on one link; closing takes less than two seconds and leaves nothing."""
    before = threading.active_count(), descriptors()
    bench = SimulatedBench({}).serve([(MODEL, RESOURCES[link])], folder=tmp_path)
    yield bench
    with within(0.5):
        bench.close()
    now = threading.active_count(), descriptors()
    assert now[0] <= before[0]
    assert now[1] <= before[1]


@pytest.mark.parametrize("name", MENU)
def test_a_fault_is_survived(link: str, served: ServedBench, name: str):
    """One struck answer; after a repair a new client gets the right one."""
    resource, panel = served.resources[RESOURCES[link]], served.panels[MODEL]
    fault = fault_from_words(
        name, {"back_s": "0.01"} if name in ("drop link", "power cycle") else {}
    )
    panel.arm(fault, matching="*IDN?")
    with (
        contextlib.suppress(TimeoutError, ConnectionError, OSError),
        CLIENTS[link](resource, IMPATIENT_S) as ask,
    ):
        ask(b"*IDN?\n")
    panel.clear()
    time.sleep(0.02)
    if link == "serial":
        # What is left on the line of the struck exchange, once the instrument has noticed.
        time.sleep(2 * SLICE_S)
        with contextlib.suppress(TimeoutError), on_serial(resource, IMPATIENT_S) as ask:
            while True:
                ask(b"*CLS\n")
    with CLIENTS[link](resource, PATIENT_S) as ask:
        assert ask(b"*IDN?\n") == IDENTITY


@pytest.mark.parametrize("name", ["stop reading", "answer late", "chatter", "silence"])
def test_closing_in_the_middle_of_a_fault(link: str, served: ServedBench, name: str):
    """The fixture closes the bench while the fault has it."""
    served.panels[MODEL].arm(fault_from_words(name, {}), count=0)
    with (
        contextlib.suppress(TimeoutError, ConnectionError, OSError),
        CLIENTS[link](served.resources[RESOURCES[link]], IMPATIENT_S) as ask,
    ):
        ask(b"*IDN?\n")


def test_many_reconnections(link: str, served: ServedBench):
    """A hundred clients, one after the other: each gets its answer; the fixture counts."""
    for _ in range(100):
        with CLIENTS[link](served.resources[RESOURCES[link]], PATIENT_S) as ask:
            assert ask(b"*IDN?\n") == IDENTITY
