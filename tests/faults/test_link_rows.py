"""Links: long transfers, far ends that vanish or have one place only, limits of their own."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.errors import BenchError, LinkError, LinkTimeout
from drivers.links.open_link import open_link
from drivers.links.serial_link import SerialLink
from drivers.links.settings import LinkSettings
from drivers.links.socket_link import SocketLink
from drivers.links.visa_link import VisaLink
from drivers.profiled import Place, ProfiledInstrument
from sim_instruments.rpc import RpcSession
from sim_instruments.sessions import as_messages
from sim_instruments.tcp_server import TcpServer
from sim_instruments.vxi11 import CoreProgram, Error, Vxi11Device
from sim_instruments.xdr import Unpacker, packed
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import TinyPty, TinyServer, answering, lines
from tests.support.clocks import within

VALUE = """
[quantity.ddm]
query = "DDM?"
unit = "ratio"
positive_tone = 150
{more}
accuracy = [{{floor = 0.001, coverage = "k=2"}}]
"""


def receiver(folder: Path, resource: str, more: str = "") -> ProfiledInstrument:
    """Open the tiny receiver; patience is short."""
    place = Place("receiver", resource, SystemClock(), folder, open_limit_s=0.5, recovery_s=0.3)
    return ProfiledInstrument(tiny_profile(folder, VALUE.format(more=more)), place)


# Long transfers ----------------------------------------------------------------------------


PIECE_S = 0.02


class InPieces(CoreProgram):
    """Hands over 1 KiB a call, each after a wait, as a slow instrument does."""

    def _read(self, arguments: Unpacker) -> bytes:
        link, _size, io_ms, *others = (arguments.integer() for _ in range(6))
        time.sleep(min(PIECE_S, io_ms / 1e3))
        if io_ms < 1e3 * PIECE_S:
            return packed(Error.IO_TIMEOUT, 0, b"")
        return super()._read(Unpacker(packed(link, 1024, io_ms, *others)))


class Long:
    """Answers ``<n>`` with n bytes."""

    def feed(self, data: bytes) -> bytes:
        return b"x" * (int(data) - 1) + b"\n"


@pytest.fixture
def slow_vxi11() -> Iterator[str]:
    device = Vxi11Device(lambda: as_messages(Long()))
    server = TcpServer(lambda: RpcSession(InPieces(device, 1)))
    yield f"TCPIP::127.0.0.1,{server.address[1]}::inst0::INSTR"
    device.close()
    server.close()


def vxi11_transfer(resource: str, size: int, timeout_s: float) -> int:
    link = VisaLink(resource, settings=LinkSettings(), timeout_s=2.0)
    try:
        link.write(b"%d\n" % size, timeout_s)
        return len(link.read(timeout_s).data)
    finally:
        link.close()


def test_a_slow_transfer_in_a_few_pieces_comes_whole_by_vxi11(slow_vxi11):
    assert vxi11_transfer(slow_vxi11, 10 * 1024, 2.0) == 10 * 1024


@pytest.mark.xfail(
    strict=True,
    raises=LinkTimeout,
    reason="pyvisa-py 0.8.1 takes the time since the start off the limit once for each piece, so "
    "that n pieces need n/2 times as long a limit; its public interface offers no cure. Use the "
    "instrument's raw socket, a shorter record, or a longer timeout_s.",
)
def test_a_slow_transfer_in_many_pieces_may_use_its_whole_limit_by_vxi11(slow_vxi11):
    """40 pieces of 0.02 s: 0.8 s of a limit of 3 s."""
    assert vxi11_transfer(slow_vxi11, 40 * 1024, 3.0) == 40 * 1024


def test_a_slow_transfer_in_many_pieces_may_use_its_whole_limit_by_socket(serve, clock_of_ours):
    def in_pieces(connection: socket.socket) -> None:
        for line in lines(connection):
            size = int(line)
            for _ in range(size // 1024):
                time.sleep(0.01)
                connection.sendall(b"x" * 1024)

    server = serve(in_pieces)
    link = SocketLink(server.resource, "127.0.0.1", server.port, clock=clock_of_ours, timeout_s=1.0)
    link.write(b"40960\n", 1.0)
    arrived = 0
    while arrived < 40960:
        arrived += len(link.read(2.0).data)
    link.close()


# Far ends that vanish, and far ends with one place -------------------------------------------


def test_a_far_end_that_vanished_is_asked_for_by_the_system_within_seconds(serve, clock_of_ours):
    """tcp(7): idle + interval * count is when a dead connection is given up; 2 h by default."""
    server = serve(answering({}))
    link = SocketLink(server.resource, "127.0.0.1", server.port, clock=clock_of_ours, timeout_s=1.0)

    def option(level: int, name: int) -> int:
        return link._socket.getsockopt(level, name)

    assert option(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
    given_up_s = option(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) + option(
        socket.IPPROTO_TCP, socket.TCP_KEEPINTVL
    ) * option(socket.IPPROTO_TCP, socket.TCP_KEEPCNT)
    assert given_up_s <= 20
    link.close()


class OnePlace:
    """Firmware with one client's place: others are taken in and left waiting until it is free."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.resource = f"TCPIP::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"
        self.served = 0
        self.mute = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            with connection:
                self.served += 1
                for line in lines(connection):
                    if not self.mute.is_set():
                        connection.sendall(b"TINY\n" if line == b"*IDN?" else b"0.1500\n")

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join(2)


@pytest.fixture
def one_place() -> Iterator[OnePlace]:
    made = OnePlace()
    yield made
    made.close()


def test_a_place_that_somebody_else_has_is_told_in_time(one_place, tmp_path):
    port = int(one_place.resource.split("::")[2])
    with socket.create_connection(("127.0.0.1", port)) as other:
        other.sendall(b"*IDN?\n")
        other.recv(100)
        with within(0.5), pytest.raises(LinkTimeout, match=r"receiver .*No answer") as told:
            receiver(tmp_path, one_place.resource)
        assert "*IDN?" in str(told.value)


def test_our_own_place_is_given_back_before_it_is_asked_for_again(one_place, tmp_path):
    """An instrument that went dumb is left properly, or its only place would stay taken."""
    instrument = receiver(tmp_path, one_place.resource)
    one_place.mute.set()
    for _ in range(2):
        with pytest.raises(LinkError):
            instrument.measure("ddm")
    one_place.mute.clear()
    for _ in range(5):
        try:
            reading = instrument.measure("ddm")
            break
        except BenchError:
            continue
    assert reading.value == pytest.approx(0.15)
    assert one_place.served >= 2
    instrument.close()


# Limits, descriptors, discovery --------------------------------------------------------------


@pytest.fixture
def averaging() -> Iterator[TinyServer]:
    """Answers at once who it is, and after a long average what it measures."""

    def answer(connection: socket.socket) -> None:
        for line in lines(connection):
            if line != b"*IDN?":
                time.sleep(0.8)
            connection.sendall(b"TINY\n" if line == b"*IDN?" else b"0.1500\n")

    server = TinyServer(answer)
    yield server
    server.close()


def test_a_long_average_has_a_limit_of_its_own(averaging, tmp_path):
    """The profile's usual limit is 0.5 s; what takes 0.8 s says so, and the rest stays quick."""
    instrument = receiver(tmp_path, averaging.resource, "timeout_s = 3.0")
    assert instrument.measure("ddm").value == pytest.approx(0.15)
    instrument.close()
    instrument = receiver(tmp_path, averaging.resource)
    with pytest.raises(LinkTimeout, match=r"No answer within 0\.5 s"):
        instrument.measure("ddm")
    instrument.close()


def test_a_program_that_is_started_meanwhile_gets_neither_the_link_nor_its_lock(
    serve, tmp_path, clock_of_ours
):
    """Even one that keeps what it may inherit; two owners of a socket take each other's answers."""
    server = serve(answering({}))
    ours, childs = open_descriptors(), descriptors_of_a_child()
    link = open_link(
        server.resource,
        settings=LinkSettings(),
        clock=clock_of_ours,
        base=tmp_path,
        timeout_s=1.0,
    )
    try:
        assert open_descriptors() >= ours + 2  # the connection and the lock
        assert descriptors_of_a_child() == childs
    finally:
        link.close()


def open_descriptors() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


def descriptors_of_a_child() -> int:
    """Of a program that keeps all that it may inherit."""
    program = "from pathlib import Path; print(len([*Path('/proc/self/fd').iterdir()]))"
    said = subprocess.run(
        [sys.executable, "-c", program], close_fds=False, capture_output=True, check=True
    )
    return int(said.stdout)


def test_no_bus_is_searched_and_no_name_service_asked(tmp_path):
    """Addresses are in the station file: VISA's discovery blocks, misses sockets, and may raise."""
    program = (
        "import sys; from drivers.ports import serial_ports; serial_ports(); "
        "from drivers.registry import shipped_profiles; shipped_profiles(); "
        "print(*(m for m in ('pyvisa', 'zeroconf', 'psutil') if m in sys.modules))"
    )
    root = Path(__file__).parents[2]
    said = subprocess.run(
        [sys.executable, "-c", program], cwd=root, capture_output=True, text=True, check=True
    )
    assert said.stdout.strip() == ""


def test_modem_lines_have_their_levels_from_the_moment_of_opening(tmp_path, clock):
    """A pulse on them restarts some instruments; a line without them (a pty) opens all the same."""
    line = TinyPty()
    settings = LinkSettings(dtr=False, rts=False, settle_s=1.5)
    began_ns = clock.monotonic_ns()
    link = SerialLink(line.resource, line.path, settings=settings, clock=clock)
    assert (link._port.dtr, link._port.rts) == (False, False)
    assert clock.monotonic_ns() - began_ns == 1.5e9
    link.close()
    line.unplug()
