"""Three more receivers against their programming manuals."""

from __future__ import annotations

import threading

import pytest

from daq.clock import elapsed_s
from sim_instruments.bench import SimulatedBench


@pytest.fixture
def bench(clock) -> SimulatedBench:
    return SimulatedBench({}, clock, receiver="course width")


def test_all_see_the_same_deviation(bench):
    """0.155 DDM is 150 uA (ICAO Annex 10, half-sector deflection) and 15.5 per cent."""
    said = bench.device("skarvoy-lr1").session().speak(threading.Event())
    word, ddm, sdm, level = said.split(b",")
    assert (word, said[-2:]) == (b"LOC", b"\r\n")
    assert float(ddm) == pytest.approx(0.155, abs=0.002)
    assert float(sdm) == pytest.approx(0.4, abs=0.004)
    assert float(level) == pytest.approx(-47.3, abs=1.5)
    velmark = bench.device("velmark-dr20").session()
    assert float(velmark.feed(b"DEV?\r")) == pytest.approx(150, abs=3)
    dunholt = bench.device("dunholt-pr3").session()
    assert float(dunholt.feed(b"DDM?\r").split()[0]) == pytest.approx(15.5, abs=0.2)
    assert dunholt.feed(b"SDM?\r").endswith(b" %,OK\r\n")


def test_identities_and_unknown_commands(bench):
    """As the manuals have them."""
    velmark = bench.device("velmark-dr20").session()
    assert velmark.feed(b"ID?\rWHAT\r") == b"VELMARK,DR-20,3310,4.4\r\nERR\r\n"
    dunholt = bench.device("dunholt-pr3").session()
    assert dunholt.feed(b"ID?\rDDM\r") == b"DUNHOLT,PR-3,118,0.9\r\nERR\r\n"


def test_without_a_signal_there_is_no_number(bench):
    """Each says so in its own way."""
    bench.connections.connect_receiver("")
    assert (
        bench.device("skarvoy-lr1")
        .session()
        .speak(threading.Event())
        .startswith(b"LOC,----,----,-")
    )
    assert bench.device("velmark-dr20").session().feed(b"DEV?\r") == b"-----\r\n"
    assert bench.device("dunholt-pr3").session().feed(b"DDM?\r") == b"--.-- %,NOSIG\r\n"


def test_the_talker_talks_ten_times_a_second(bench, clock):
    """And listens to nothing."""
    session = bench.device("skarvoy-lr1").session()
    start = clock.monotonic_ns()
    assert all(session.speak(threading.Event()) for _ in range(10))
    assert elapsed_s(clock, start) == pytest.approx(1.0)
    assert session.feed(b"ID?\r") == b""
    gone = threading.Event()
    gone.set()
    assert session.speak(gone) == b""
