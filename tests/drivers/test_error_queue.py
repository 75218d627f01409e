"""An error in the instrument's own queue is told with the command that made it, where wanted."""

from __future__ import annotations

import pytest

from daq.clock import SystemClock
from daq.errors import InstrumentError, ProfileError
from drivers.profiled import Place, ProfiledInstrument
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import lines

SECTIONS = """
[errors]
queue_query = "ERR?"
check = "{check}"
[quantity.voltage]
query = "VOLT?"
unit = "V"
accuracy = [{{floor = 0.1, coverage = "k=2"}}]
"""


@pytest.fixture
def meter(serve, tmp_path):
    opened: list[ProfiledInstrument] = []
    queue: list[bytes] = []

    def handle(connection):
        for line in lines(connection):
            error = queue.pop(0) if line == b"ERR?" and queue else b'0,"No error"\n'
            answers = {b"*IDN?": b"TINY\n", b"VOLT?": b"1.5\n", b"ERR?": error}
            connection.sendall(answers[line])

    def start(check):
        profile = tiny_profile(tmp_path, SECTIONS.format(check=check), kind="multimeter")
        where = Place("meter", serve(handle).resource, SystemClock(), tmp_path)
        opened.append(ProfiledInstrument(profile, where))
        return opened[-1], queue

    yield start
    for one in opened:
        one.close()


def test_checked_at_each_reading_an_error_stops_the_reading_that_made_it(meter):
    instrument, queue = meter("each reading")
    assert instrument.measure("voltage").value == 1.5
    queue += [b'-221,"Settings conflict"\n', b'-113,"Undefined header"\n']
    with pytest.raises(InstrumentError, match=r"-221 Settings conflict.*-113") as caught:
        instrument.measure("voltage")
    assert caught.value.sent == b"VOLT?"
    assert instrument.measure("voltage").value == 1.5


def test_otherwise_it_stays_in_the_queue_until_somebody_looks(meter):
    instrument, queue = meter("on trouble")
    queue.append(b'-221,"Settings conflict"\n')
    assert instrument.measure("voltage").value == 1.5
    [found] = instrument.queued_errors()
    assert (found.code, found.kind) == (-221, "execution error")
    assert instrument.queued_errors() == ()


def test_a_queue_that_cannot_be_asked_cannot_be_checked(tmp_path):
    text = SECTIONS.format(check="each reading").replace('queue_query = "ERR?"', "")
    with pytest.raises(ProfileError, match="queue_query has to be given"):
        tiny_profile(tmp_path, text, kind="multimeter")
