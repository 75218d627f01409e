"""A measurement that takes long is waited for the way the profile says, within its own limit."""

from __future__ import annotations

import time

import pytest

from daq.clock import SystemClock
from daq.errors import AnswerError, LinkTimeout, ProfileError
from drivers.profiled import Place, ProfiledInstrument
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import lines
from tests.support.clocks import within

SLOW = """
[quantity.frequency]
start = "INIT"
done = "{done}"
query = "FETC?"
unit = "Hz"
timeout_s = {timeout_s}
accuracy = [{{floor = 1.0, coverage = "k=2"}}]
"""


class SlowCounter:
    """Takes `takes_s` from INIT; says so by *OPC? and by *ESR?, honestly or not."""

    def __init__(self, takes_s: float, *, honest: bool = True, word: bytes = b"1") -> None:
        self.takes_s, self.honest, self.word = takes_s, honest, word
        self.over = 0.0
        self.reported = True
        self.heard: list[bytes] = []

    def __call__(self, connection) -> None:
        for line in lines(connection):
            self.heard.append(line)
            connection.sendall(self.answer(line))

    def answer(self, line: bytes) -> bytes:
        now = time.perf_counter()
        if line == b"*IDN?":
            return b"TINY\n"
        if line == b"INIT":
            self.over = now + self.takes_s
        if line == b"*OPC":
            self.reported = False
        if line == b"*OPC?":
            time.sleep(max(0.0, self.over - now) if self.honest else 0.0)
            return self.word + b"\n"
        if line == b"*ESR?":
            done = not self.reported and now >= self.over
            self.reported = self.reported or done
            return b"1\n" if done else b"0\n"
        if line == b"FETC?":
            return b"109350000\n" if now >= self.over else b"0\n"
        return b""


@pytest.fixture
def counter(serve, tmp_path):
    opened = []

    def start(device: SlowCounter, done: str, timeout_s: float = 2.0) -> ProfiledInstrument:
        profile = tiny_profile(
            tmp_path, SLOW.format(done=done, timeout_s=timeout_s), kind="frequency counter"
        )
        where = Place("counter", serve(device).resource, SystemClock(), tmp_path, recovery_s=0.5)
        opened.append(ProfiledInstrument(profile, where))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


@pytest.mark.parametrize("done", ["*OPC?", "*ESR?"])
def test_the_value_is_fetched_when_the_measurement_is_over(counter, done):
    device = SlowCounter(0.08)
    assert counter(device, done).measure("frequency").value == 109.35e6
    assert device.heard.index(b"INIT") < device.heard.index(b"FETC?")
    assert device.heard.count(b"*OPC?") <= 1


def test_one_that_answers_opc_at_once_is_asked_by_its_event_status_instead(counter):
    lying = SlowCounter(0.08, honest=False)
    assert counter(lying, "*OPC?").measure("frequency").value == 0.0
    assert counter(SlowCounter(0.08, honest=False), "*ESR?").measure("frequency").value == 109.35e6


@pytest.mark.parametrize("done", ["*OPC?", "*ESR?"])
def test_one_that_is_never_done_is_a_timeout_within_the_limit(counter, done):
    instrument = counter(SlowCounter(1.0), done, timeout_s=0.15)
    with within(0.15), pytest.raises(LinkTimeout, match=r"counter|within"):
        instrument.measure("frequency")


def test_an_answer_that_is_no_register_is_told(counter):
    with pytest.raises(AnswerError, match=r"^counter \(TCPIP.*status register"):
        counter(SlowCounter(0.0, word=b"yes"), "*OPC?").measure("frequency")


def test_start_and_done_belong_together(tmp_path):
    text = SLOW.format(done="*OPC?", timeout_s=1.0).replace('start = "INIT"\n', "")
    with pytest.raises(ProfileError, match="start and done belong together"):
        tiny_profile(tmp_path, text, kind="frequency counter")
