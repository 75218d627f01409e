"""Ctrl-C in the middle of a query: the late answer is never taken for the next one's."""

from __future__ import annotations

import time

import pytest

from daq.clock import SystemClock
from drivers.links.open_link import open_link
from drivers.links.socket_link import SocketLink
from drivers.profiled import Place, ProfiledInstrument
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import lines

SECTIONS = """
[quantity.ddm]
query = "DDM?"
unit = "ratio"
positive_tone = 150
accuracy = [{floor = 0.001, coverage = "k=2"}]
[quantity.sdm]
query = "SDM?"
unit = "ratio"
accuracy = [{floor = 0.001, coverage = "k=2"}]
"""


class Interrupting(SocketLink):
    """The technician presses Ctrl-C in the first read after `armed` was set."""

    armed = False

    def read(self, timeout_s):
        if self.armed and timeout_s > 0:
            self.armed = False
            raise KeyboardInterrupt
        return super().read(timeout_s)


def test_the_answer_left_behind_by_ctrl_c_is_thrown_away(serve, tmp_path):
    def handle(connection):
        answers = {b"*IDN?": b"TINY\n", b"DDM?": b"0.155\n", b"SDM?": b"0.4\n"}
        for line in lines(connection):
            if line == b"DDM?":
                time.sleep(0.03)  # so that the answer comes after the next question was sent
            connection.sendall(answers[line])

    links: list[Interrupting] = []

    def opener(resource, *, settings, clock, base, timeout_s):
        host, port = resource.split("::")[1:3]
        links.append(Interrupting(resource, host, int(port), clock=clock, timeout_s=timeout_s))
        return links[-1]

    where = Place("rx", serve(handle).resource, SystemClock(), tmp_path, opener=opener)
    assert where.opener is not open_link
    instrument = ProfiledInstrument(tiny_profile(tmp_path, SECTIONS), where)
    links[0].armed = True
    with pytest.raises(KeyboardInterrupt):
        instrument.measure("ddm")
    assert instrument.measure("sdm").value == 0.4
    assert instrument.measure("ddm").value == 0.155
    instrument.close()
