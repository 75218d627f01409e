"""A record for DDM has its own settings, and leaves the usual ones behind."""

from __future__ import annotations

import math

import numpy as np
import pytest

from daq.clock import ManualClock, SystemClock
from daq.errors import AnswerError
from daq.roles import InstrumentClass
from daq.samples.analyze import reading_from_waveform
from daq.samples.screen import MIN_DURATION_S
from drivers.oscilloscope import ProfiledOscilloscope
from drivers.profiled import Place
from drivers.registry import find_profile, open_instrument
from sim_instruments.bench import SimulatedBench
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import lines

SCOPE = "TCPIP::127.0.0.1::0::SOCKET"
RECEIVER = "ASRL./receiver.tty::INSTR"
SECTION = """
[setup]
commands = ["TIME 0.1"]
[waveform]
setup = ["TIME 0.5"]
restore = ["TIME 0.1"]
query = "CURV?"
format = "real32"
record_query = "TIME?"
"""


def test_ddm_from_samples_agrees_with_the_receiver_on_the_same_detector(tmp_path):
    """Both look at the course width detector over their real links."""
    bench = SimulatedBench(
        {"seed": 16},
        ManualClock(),
        receiver="course width",
        probes={1: "course width detector"},
    )
    wanted = [("fernmark-os4", SCOPE), ("halvorsund-nr2", RECEIVER)]
    with bench.serve(wanted, folder=tmp_path, hands_port=None) as served:
        scope = open_instrument(
            "scope",
            InstrumentClass.OSCILLOSCOPE,
            "fernmark-os4",
            served.resources[SCOPE],
            clock=SystemClock(),
            base=tmp_path,
        )
        receiver = open_instrument(
            "receiver",
            InstrumentClass.NAVIGATION_RECEIVER,
            "halvorsund-nr2",
            RECEIVER,
            clock=SystemClock(),
            base=tmp_path,
        )
        assert isinstance(scope, ProfiledOscilloscope)
        record = scope.waveform(channel="1")
        by_samples = reading_from_waveform(record)
        by_receiver = receiver.measure("ddm")
        scope.close()
        receiver.close()
    assert record.samples_v.size / record.rate_hz == pytest.approx(0.5)
    assert record.rate_hz >= 2 * 9500.0  # the beat of the two carriers
    difference = by_samples.value - by_receiver.value
    assert abs(difference) <= 2.0 * math.hypot(by_samples.u, by_receiver.u)
    assert by_samples.value > 0.1


@pytest.mark.parametrize("name", ["fernmark-os4", "scpi-oscilloscope"])
def test_every_shipped_oscilloscope_records_long_enough_for_ddm(name, tmp_path):
    section = find_profile(name, tmp_path).waveform
    assert section is not None
    [seconds] = [c.split()[-1] for c in section.setup if "TIME" in c]
    assert float(seconds) >= 3 * MIN_DURATION_S
    assert section.restore


@pytest.fixture
def tiny_scope(serve, tmp_path):
    heard: list[bytes] = []
    broken: list[bool] = []

    def handle(connection):
        for line in lines(connection):
            heard.append(line)
            block = b"?\n" if broken else b"#216" + np.zeros(4, ">f4").tobytes() + b"\n"
            answers = {b"*IDN?": b"TINY\n", b"TIME?": b"0.5\n", b"CURV?": block}
            connection.sendall(answers.get(line, b""))

    where = Place("scope", serve(handle).resource, SystemClock(), tmp_path, recovery_s=0.3)
    scope = ProfiledOscilloscope(tiny_profile(tmp_path, SECTION, kind="oscilloscope"), where)
    until_now(scope)
    heard.clear()
    yield scope, heard, broken
    scope.close()


def until_now(scope: ProfiledOscilloscope) -> None:
    """Return when everything that was sent has been heard: a question is answered after it."""
    scope._session.run(lambda conversation: conversation.ask("*IDN?", 1.0))


def test_the_record_is_taken_between_its_settings_and_the_usual_ones(tiny_scope):
    scope, heard, _ = tiny_scope
    scope.waveform()
    scope.waveform()
    until_now(scope)
    assert heard[:-1] == [b"TIME 0.5", b"TIME?", b"CURV?", b"TIME 0.1"] * 2


def test_after_a_record_that_failed_the_usual_settings_are_sent_before_anything_else(tiny_scope):
    scope, heard, broken = tiny_scope
    broken.append(True)
    with pytest.raises(AnswerError, match="block was expected"):
        scope.waveform()
    broken.clear()
    heard.clear()
    scope.waveform()
    assert heard.index(b"TIME 0.1") < heard.index(b"TIME 0.5")
