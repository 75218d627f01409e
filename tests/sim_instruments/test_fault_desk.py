"""What a trainer types at the hands' port."""

from __future__ import annotations

import pytest

from sim_instruments.bench import SimulatedBench
from sim_instruments.fault_desk import FaultDesk, panel_for
from sim_instruments.faults import MENU
from sim_instruments.faulty_session import FaultySession
from sim_instruments.hands import HandsError
from sim_instruments.hands_link import HandsClient, HandsSession, parse_line


@pytest.fixture
def bench(clock) -> SimulatedBench:
    return SimulatedBench({}, clock, receiver="course width")


@pytest.fixture
def line(bench, clock) -> FaultySession:
    """The receiver's line, and a desk that knows it, at `line.desk`."""
    device = bench.device("halvorsund-nr2")
    return FaultySession(device.session(), panel_for(device, clock))


@pytest.fixture
def desk(bench, line) -> FaultDesk:
    return FaultDesk(bench.hands, {"halvorsund-nr2": line._panel})


def test_a_typed_line_makes_a_fault(desk, line):
    """After one more answer the sign is wrong, once."""
    verb, words, act = parse_line('fault wrong sign instrument=halvorsund-nr2 after=1 matching="D"')
    assert desk.do(verb, words, act) == {"fault": "wrong sign", "after": 1, "count": 1}
    signs = [line.feed(b"DDM\r")[4:5] for _ in range(3)]
    assert signs == [b"+", b"-", b"+"]


def test_repair_clears_one_or_all(desk, line):
    """An act is done again when it is asked again: a fault is no cut."""
    for words in ({"instrument": "halvorsund-nr2"}, {}):
        desk.do("fault silence", {"instrument": "halvorsund-nr2", "count": 0}, "7f")
        assert line.feed(b"DDM\r") == b""
        desk.do("repair", words, "80")
        assert line.feed(b"DDM\r") != b""


def test_the_menu_can_be_read(desk):
    """Name and sentence of each."""
    assert desk.do("faults", {}) == {"faults": {name: kind.sentence for name, kind in MENU.items()}}


def test_the_hands_still_work(desk, bench):
    """Every other verb is theirs."""
    before = bench.plant.position("monitor width")
    desk.do("turn", {"control": "monitor width", "by": 0.01})
    assert bench.plant.position("monitor width") == pytest.approx(before + 0.01, abs=0.005)


@pytest.mark.parametrize(
    ("verb", "words", "message"),
    [
        ("fault silence", {}, "'instrument' is missing; it is one of halvorsund-nr2"),
        ("fault silence", {"instrument": "x"}, "no instrument 'x' is served; there are: halv"),
        ("fault gremlins", {"instrument": "halvorsund-nr2"}, "no fault 'gremlins'; there are"),
        ("fault silence", {"instrument": "halvorsund-nr2", "after": "soon"}, "'after' is to be a"),
        ("fault silence", {"instrument": "halvorsund-nr2", "x": 1}, "takes nothing, not 'x'"),
        ("repair", {"instrument": "x"}, "no instrument 'x'"),
        ("dance", {}, "hands cannot 'dance'"),
    ],
)
def test_what_cannot_be_done_is_said(desk, verb, words, message):
    """And nothing is armed."""
    with pytest.raises(HandsError, match=message):
        desk.do(verb, words)


def test_over_the_link_as_a_person_types_it(desk):
    """One line in, one line of JSON out."""
    session = HandsSession(desk)
    assert session.feed(b"fault answer late instrument=halvorsund-nr2 seconds=2\n") == (
        b'{"ok": true, "fault": "answer late", "after": 0, "count": 1}\n'
    )


def test_a_served_bench_has_a_desk(bench, tmp_path):
    """Its panels are those of the instruments on the links."""
    where = [("halvorsund-nr2", "ASRL./nr2.tty::INSTR")]
    with bench.serve(where, folder=tmp_path) as served:
        assert served.hands_address is not None
        hands = HandsClient(served.hands_address)
        hands.do("fault silence", {"instrument": "halvorsund-nr2"})
        hands.close()
        assert served.panels["halvorsund-nr2"].strike(b"DDM\r", b"DDM\r\n").answer == b""
