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


def test_meters_and_alarm_unit_over_their_links(tmp_path):
    """Each by a client that knows nothing of it; hands over their own port."""
    served_at = {
        "brunnhall-pw2": "TCPIP::127.0.0.1::0::SOCKET",
        "vesterlo-fc6": "TCPIP0::127.0.0.1::0::SOCKET",
        "ostrel-sa4": "TCPIP1::127.0.0.1::0::SOCKET",
        "halvorsund-ma3": "ASRL./alarms.tty::INSTR",
    }
    bench = SimulatedBench({}, ManualClock())
    with bench.serve(list(served_at.items()), folder=tmp_path) as served:
        assert served.hands_address is not None
        with socket.create_connection(served.hands_address, 2) as hands:
            hands.sendall(b'connect counter point="course CSB"\n')
            assert b"true" in hands.recv(100)
        for model, query in (("brunnhall-pw2", b"READ?"), ("vesterlo-fc6", b"READ?")):
            port = int(served.resources[served_at[model]].split("::")[2])
            with socket.create_connection(("127.0.0.1", port), 2) as client:
                client.sendall(query + b"\n")
                answer = float(client.recv(100))
            expected = 9.91e37 if model == "brunnhall-pw2" else 109_354_750.0
            assert answer == pytest.approx(expected, rel=1e-6)
        with serial.Serial(str(tmp_path / "alarms.tty"), 9600, timeout=2) as line:
            line.write(b"S\r")
            assert line.read_until(b"\n").startswith(b"S N CL=N CW=N")


def test_two_profiles_of_one_model_are_two_lines_to_one_instrument():
    """The oscilloscope's settings are the same by either; the two multimeters are two."""
    bench = SimulatedBench({}, ManualClock())
    first, second = (bench.device(name) for name in ("fernmark-os4", "fernmark-os4-detector"))
    first.session().feed(b"SENS:SWE:TIME 0.5\n")
    assert float(second.session().feed(b"SENS:SWE:TIME?\n")) == 0.5
    assert bench.device("torvstad-dm6") is not bench.device("torvstad-dm6-firmware-1")


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


def test_hands_save_their_sweeps_in_the_folder_that_is_served(tmp_path):
    bench = SimulatedBench({})
    with bench.serve([], folder=tmp_path):
        bench.hands.do("sweep cable", {"name": "sbo transmitter", "file": "a.s1p"})
    assert (tmp_path / "a.s1p").is_file()
