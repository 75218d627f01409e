"""The whole bench on real links, with clients that know nothing of it."""

from __future__ import annotations

import socket
import threading
import time

import pytest
import serial

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench

INSTRUMENTS = [
    ("fernmark-os4", "TCPIP::127.0.0.1::0::SOCKET"),
    ("halvorsund-nr2", "ASRL./receiver.tty::INSTR"),
]


def test_both_instruments_look_at_the_same_plant(tmp_path):
    """Oscilloscope over a socket and receiver over a pseudo-terminal; a turn is seen by both."""
    bench = SimulatedBench({}, receiver="course width", probes={1: "course width detector"})
    with bench.serve(INSTRUMENTS, folder=tmp_path) as served:
        assert served.resources[INSTRUMENTS[1][1]] == f"ASRL{tmp_path}/receiver.tty::INSTR"
        port = int(served.resources[INSTRUMENTS[0][1]].split("::")[2])
        with (
            socket.create_connection(("127.0.0.1", port), 2) as scope,
            serial.Serial(str(tmp_path / "receiver.tty"), 9600, timeout=2) as receiver,
        ):
            scope.sendall(b"*IDN?\n")
            assert scope.recv(100) == b"FERNMARK,OS-4,40117,1.6\n"
            started = time.perf_counter()
            receiver.write(b"DDM\r")
            assert float(receiver.read_until(b"\n").split()[1]) == pytest.approx(0.155, abs=0.002)
            assert time.perf_counter() - started >= 0.1
            bench.plant.turn("monitor width", 0.25)
            receiver.write(b"DDM\r")
            assert float(receiver.read_until(b"\n").split()[1]) > 0.3


def test_everything_is_closed_afterwards(tmp_path):
    """No thread, no link in the folder, no port."""
    before = threading.active_count()
    with SimulatedBench({}).serve(INSTRUMENTS, folder=tmp_path) as served:
        address = served.hands_address
    assert threading.active_count() == before
    assert list(tmp_path.iterdir()) == []
    assert address is not None
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(address, 2)


def test_what_cannot_be_served_is_refused_and_leaves_nothing_open(tmp_path):
    """An unknown model after a good one; a resource of another kind."""
    before = threading.active_count()
    bench = SimulatedBench({})
    with pytest.raises(ValueError, match="no simulated instrument 'abacus'"):
        bench.serve([INSTRUMENTS[1], ("abacus", "x")], folder=tmp_path)
    with pytest.raises(ValueError, match="cannot serve at 'GPIB0::7::INSTR'"):
        bench.serve([("fernmark-os4", "GPIB0::7::INSTR")])
    assert list(tmp_path.iterdir()) == []
    assert threading.active_count() == before


def test_two_benches_of_one_seed_are_alike():
    """Determinism: the same questions get the same answers; another seed gives others."""

    def answers(seed: int) -> list[bytes]:
        bench = SimulatedBench({"seed": seed}, ManualClock(), receiver="course width")
        receiver = bench.device("halvorsund-nr2").session()
        scope = bench.device("fernmark-os4").session()
        bench.hands.do("turn", {"control": "monitor width", "by": 0.1})
        readings = [receiver.feed(b"DDM\r") for _ in range(5)]
        return [*readings, scope.feed(b"MEAS:VOLT:PTP? (@1)\n")]

    assert answers(9) == answers(9)
    assert answers(9) != answers(10)
