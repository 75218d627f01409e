"""Frozen, stale and impossible readings are marked, so that nobody judges by them."""

from __future__ import annotations

from itertools import count

import pytest

from daq.clock import SystemClock
from daq.errors import AnswerError
from daq.measurement import combine
from daq.reading import Quality
from drivers.profiled import Place, ProfiledInstrument
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import lines

DDM = """
[quantity.ddm]
query = "DDM?"
answer = '(?P<value>\\S+)(?: T(?P<stamp>\\S+))?'
unit = "ratio"
positive_tone = 150
noise = {sigma = 0.0001, resolution = 0.0001}
accuracy = [{floor = 0.001, coverage = "k=2"}]
"""


@pytest.fixture
def read(serve, tmp_path):
    opened = []

    def start(answers):
        def handle(connection):
            for line in lines(connection):
                connection.sendall(b"TINY\n" if line == b"*IDN?" else next(answers))

        where = Place("rx", serve(handle).resource, SystemClock(), tmp_path)
        opened.append(ProfiledInstrument(tiny_profile(tmp_path, DDM), where))
        return lambda n: [opened[-1].measure("ddm") for _ in range(n)]

    yield start
    for one in opened:
        one.close()


def test_a_frozen_value_cannot_be_averaged_any_more(read):
    readings = read(iter([b"0.1550\n"] * 60))(30)
    assert [r.quality for r in readings[:17]] == [Quality.OK] * 17
    assert {r.quality for r in readings[17:]} == {Quality.FROZEN}
    assert readings[-1].value == 0.155  # still shown and logged
    with pytest.raises(AnswerError, match="frozen"):
        combine(readings[17:], steady=True)


def test_a_time_stamp_that_does_not_move_makes_the_reading_stale(read):
    answers = iter([b"0.1550 T1\n", b"0.1551 T2\n", b"0.1552 T2\n", b"0.1549 T3\n"])
    qualities = [r.quality for r in read(answers)(4)]
    assert qualities == [Quality.OK, Quality.OK, Quality.STALE, Quality.OK]


def test_an_impossible_value_is_told_before_anything_else(read):
    readings = read(b"0.4100\n" for _ in count())(30)
    assert {r.quality for r in readings} == {Quality.IMPOSSIBLE}
