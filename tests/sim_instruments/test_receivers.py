"""Halvorsund NR-2 and Ostrel PIR 7 against their programming manuals."""

from __future__ import annotations

import re

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench
from sim_instruments.receivers import LINE_LIMIT

CALM = {"phase_drift_deg": 0.0, "level_drift_db": 0.0}


def lines(bench: SimulatedBench, model: str):
    session = bench.device(model).session()
    end = "\r" if model == "halvorsund-nr2" else "\n"
    return lambda text: session.feed((text + end).encode("ascii")).decode("ascii")


@pytest.mark.parametrize(
    ("command", "pattern", "value", "tolerance"),
    [
        ("DDM", r"DDM ([+-]\d\.\d{4}) OK\r\n", 0.155, 0.0015),
        ("SDM", r"SDM (\d\.\d{4}) OK\r\n", 0.400, 0.002),
        ("M90", r"M90 (\d\.\d{4}) OK\r\n", 0.1225, 0.0015),
        ("M150", r"M150 (\d\.\d{4}) OK\r\n", 0.2775, 0.0015),
        ("F90", r"F90 (\d+\.\d\d) OK\r\n", 90.0, 0.1),
        ("F150", r"F150 (\d+\.\d\d) OK\r\n", 150.0, 0.1),
        ("LVL", r"LVL (-\d+\.\d) OK\r\n", -47.3, 0.2),
    ],
)
def test_halvorsund_answers(clock, command, pattern, value, tolerance):
    """Form and value of each answer at an in-phase width channel."""
    bench = SimulatedBench(CALM, clock, receiver="course width")
    found = re.fullmatch(pattern, lines(bench, "halvorsund-nr2")(command))
    assert found
    assert float(found[1]) == pytest.approx(value, abs=tolerance)


def test_halvorsund_identity_and_unknown_command(clock):
    """Neither takes time."""
    ask = lines(SimulatedBench(CALM, clock), "halvorsund-nr2")
    before = clock.monotonic_ns()
    assert ask("ID") == "HALVORSUND NR-2,SN 20417,FW 3.2\r\n"
    assert ask("ddm") == "?\r\n"
    assert clock.monotonic_ns() == before
    ask("DDM")
    assert clock.monotonic_ns() - before == 100_000_000


def test_halvorsund_says_when_there_is_no_value(clock):
    """LOW with dashes in the air; OVR when the sum of depths is far too much."""
    loose = lines(SimulatedBench(CALM, clock, receiver=""), "halvorsund-nr2")
    assert loose("DDM") == "DDM ---- LOW\r\n"
    silent = {**CALM, "receiver_noise_ddm": 0.0}
    dead = lines(SimulatedBench(silent, clock, receiver=""), "halvorsund-nr2")
    assert dead("LVL") == "LVL ---- LOW\r\n"
    over = SimulatedBench({**CALM, "width_ratio": 2.4, "seed": 2}, clock, receiver="course width")
    over.plant.turn("monitor width", 0.4)
    assert re.fullmatch(r"DDM [+-]\d\.\d{4} OVR\r\n", lines(over, "halvorsund-nr2")("DDM"))


def test_ostrel_has_the_other_sign_and_unit(clock):
    """150 Hz predominating by 0.155 is -150 uA (standards: 0.155 DDM = 150 uA)."""
    bench = SimulatedBench(CALM, clock, receiver="course width")
    ask = lines(bench, "ostrel-pir7")
    found = re.fullmatch(r"D=([+-]\d+\.\d)uA;S=A\n", ask("Q:D"))
    assert found
    assert float(found[1]) == pytest.approx(-150.0, abs=1.5)
    assert clock.monotonic_ns() == ManualClock().mono_ns + 200_000_000
    assert re.fullmatch(r"M=(39\.\d|40\.\d)%;S=A\n", ask("Q:M"))
    assert re.fullmatch(r"L=-47\.\ddBm;S=A\n", ask("Q:L"))
    assert ask("Q:I") == "I=OSTREL/PIR7/0093/1.04\n"
    assert ask("Q:X") == "E=1\n"
    bench.connections.connect_receiver("")
    assert ask("Q:D").endswith(";S=V\n")


def test_pieces_and_several_commands_at_once(clock):
    """A command may arrive byte by byte; two at once get two answers; an endless one is dropped."""
    session = SimulatedBench(CALM, clock).device("halvorsund-nr2").session()
    assert [session.feed(b) for b in (b"I", b"D", b"\rID\r")][2].count(b"HALVORSUND") == 2
    assert session.feed(b"x" * (LINE_LIMIT + 1)) == b""
    assert session.feed(b"ID\r").startswith(b"HALVORSUND")
