"""Hands over loopback TCP."""

from __future__ import annotations

import json
import socket

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench
from sim_instruments.hands import HandsError
from sim_instruments.hands_link import HandsClient, HandsSession, parse_line

CUT: dict[str, str | float] = {"path": "sbo", "stage": "monitor", "length_m": 0.2}


@pytest.fixture
def bench(clock: ManualClock) -> SimulatedBench:
    """A bench that stands still."""
    return SimulatedBench({"phase_drift_deg": 0.0, "level_drift_db": 0.0}, clock)


def test_typed_and_sent_lines():
    """A person types words, a program sends JSON; both mean the same."""
    typed = parse_line('turn control="monitor width" by=0.02 act=7')
    sent = parse_line('{"verb": "turn", "control": "monitor width", "by": 0.02, "act": "7"}')
    assert typed == ("turn", {"control": "monitor width", "by": "0.02"}, "7")
    assert sent == ("turn", {"control": "monitor width", "by": 0.02}, "7")


@pytest.mark.parametrize("line", [b'{"verb": 3}', b"{", b'cut "', b"[1]", b"\xff\xfe", b"{}"])
def test_garbage_is_answered_with_an_error(bench, line):
    """Never an exception, never silence."""
    answer = json.loads(HandsSession(bench.hands).feed(line + b"\n"))
    assert answer["ok"] is False
    assert answer["error"]


def test_client_over_the_link_and_after_being_killed(bench):
    """A new client that repeats an act of the old one hears the same outcome."""
    with bench.serve([]) as served:
        assert served.hands_address is not None
        first = HandsClient(served.hands_address)
        outcome = first.do("cut", CUT, "once")
        first.close()
        second = HandsClient(served.hands_address)
        assert second.do("cut", CUT, "once") == outcome
        assert set(outcome) == {"measured_m"}
        with pytest.raises(HandsError, match="cannot 'fly'"):
            second.do("fly", {})
        second.close()
        second.close()
        with socket.create_connection(served.hands_address, 2) as trainee:
            trainee.sendall(b'position control="monitor width"\n')
            assert json.loads(trainee.recv(1000)) == {"ok": True, "position": 0.5}
    assert len(bench.plant.truth().cuts) == 1


def test_no_hands_and_a_closed_link_are_said(bench):
    """An address where nobody listens; a bench that went away."""
    served = bench.serve([])
    assert served.hands_address is not None
    client = HandsClient(served.hands_address)
    served.close()
    with pytest.raises(HandsError, match="link"):
        client.do("controls", {})
    client.close()
    with pytest.raises(HandsError, match="no hands at"):
        HandsClient(served.hands_address)
