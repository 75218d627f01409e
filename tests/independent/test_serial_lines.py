"""pyserial against the pseudo-terminals of all receivers."""

from __future__ import annotations

import pytest
import serial

from sim_instruments.link_faults import Dribble, DropLink, StolenBytes

ASKED = {
    "halvorsund-nr2": (b"DDM\r", b"DDM +0.1"),
    "ostrel-pir7": (b"Q:D\n", b"D=-1"),
    "velmark-dr20": (b"DEV?\r", b"+1"),
    "dunholt-pr3": (b"DDM?\r", b"+1"),
}


@pytest.fixture
def port(serve, tmp_path):
    """Serve a receiver and open its line with pyserial; returns bench and port."""
    opened = []

    def make(model: str):
        served = serve({model: "ASRL./line.tty::INSTR"})
        opened.append(serial.Serial(str(tmp_path / "line.tty"), 9600, timeout=5))
        return served, opened[-1]

    yield make
    for one in opened:
        one.close()


@pytest.mark.parametrize("model", ASKED)
def test_a_receiver_that_is_asked(port, model):
    """150 Hz predominates with about 0.155: each in its own words."""
    _, line = port(model)
    question, beginning = ASKED[model]
    line.write(question)
    assert line.read_until(b"\n").startswith(beginning)


@pytest.mark.parametrize("model", ["skarvoy-lr1", "navelin-gp5"])
def test_a_receiver_that_talks_on_its_own(port, model):
    """Whole lines come without being asked."""
    _, line = port(model)
    line.read_until(b"\n")
    for _ in range(5):
        said = line.read_until(b"\n")
        assert said.startswith((b"LOC,", b"$GP"))
        assert said.endswith(b"\r\n")


def test_faults_on_a_serial_line(port):
    """Bytes that another program got; bytes that dribble; an adapter that is pulled out."""
    served, line = port("halvorsund-nr2")
    panel = served.panels["halvorsund-nr2"]
    panel.arm(StolenBytes())
    line.write(b"ID\r")
    line.timeout = 0.1
    assert line.read(100) == b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n"[::2]
    line.timeout = 5
    panel.arm(Dribble(0.02))
    line.write(b"ID\r")
    assert line.read_until(b"\n") == b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n"
    panel.arm(DropLink())
    line.write(b"ID\r")
    with pytest.raises(serial.SerialException):
        line.read(1)
