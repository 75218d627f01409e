"""A position receiver on a line: what is a position, and what only looks like one."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import AnswerError, BenchError, LinkTimeout
from daq.link import Chunk
from daq.nmea import checksum
from daq.position import Fix
from daq.roles import InstrumentClass
from drivers.conversation import Conversation
from drivers.position import ProfiledPositionReceiver
from drivers.profiled import Place
from drivers.registry import find_profile, shipped_profiles


def sentence(time: str, *, fix: str = "4", kind: str = "GPGGA") -> bytes:
    body = f"{kind},{time},5715.00000,N,00430.00000,E,{fix},09,0.9,31.0,M,,M,,"
    return f"${body}*{checksum(body):02X}\r\n".encode()


class Talking:
    """A link on which a receiver says one thing after the other, one each fifth of a second."""

    marks_end = False
    resource = "ASRL/dev/none::INSTR"

    def __init__(self, clock: ManualClock, says: list[bytes]) -> None:
        self._clock = clock
        self._says = says

    def write(self, data: bytes, timeout_s: float) -> None:
        raise AssertionError("a position receiver is told nothing")

    def read(self, timeout_s: float) -> Chunk:
        self._clock.sleep(min(0.2, timeout_s))
        if timeout_s == 0.0 or not self._says:
            raise LinkTimeout("nothing arrived")
        return Chunk(self._says.pop(0))

    def clear(self, timeout_s: float) -> None:
        pass

    def close(self) -> None:
        pass


class Receiver(ProfiledPositionReceiver):
    def __init__(self, clock: ManualClock, says: list[bytes]) -> None:
        self._link = Talking(clock, says)
        place = Place("gnss", "ASRL/dev/none::INSTR", clock, Path())
        super().__init__(find_profile("nmea-0183", Path()), place)

    def _open(self) -> Conversation:
        return Conversation(
            self._link,
            self._profile.link.message_format(),
            clock=self._place.clock,
            instrument=self._place.label,
            transcript=self._transcript,
        )


@pytest.fixture
def receiver(clock: ManualClock, request: pytest.FixtureRequest):
    opening = [sentence("101500.00"), sentence("101500.20")]
    made = Receiver(clock, [*opening, *getattr(request, "param", [])])
    yield made
    made.close()


def told(*lines: bytes):
    return pytest.mark.parametrize("receiver", [list(lines)], indirect=True)


# Each time it is asked, the first line heard may have begun before and does not count.
SKIPPED = sentence("101501.00")


@told(SKIPPED, sentence("101501.20"), SKIPPED, sentence("101501.40"))
def test_it_tells_where_it_is(receiver):
    position = receiver.position()
    assert (position.latitude_deg, position.longitude_deg) == (57.25, 4.5)
    assert position.fix is Fix.RTK_FIXED
    assert position.source == "gnss"
    assert position.mono_ns > 0


@told(SKIPPED, sentence("101501.20", kind="GPRMC"), sentence("101501.20"), SKIPPED,
      sentence("101501.40"))  # fmt: skip
def test_other_sentences_are_passed_over(receiver):
    assert receiver.position().time_of_day_s == pytest.approx(36901.4)


@told(SKIPPED, sentence("101501.20"), SKIPPED, sentence("101501.20"))
def test_a_time_that_stands_still_is_stale(receiver):
    with pytest.raises(AnswerError, match=r"stale: .* stands still"):
        receiver.position()


@told(SKIPPED, sentence("101501.20"), SKIPPED, sentence("101459.00"))
def test_a_time_that_goes_back_is_stale(receiver):
    with pytest.raises(AnswerError, match="does not move on"):
        receiver.position()


@told(SKIPPED, sentence("101501.20", fix="0"))
def test_no_fix_is_no_position(receiver):
    with pytest.raises(AnswerError, match="no fix") as told_to_us:
        receiver.position()
    assert told_to_us.value.instrument == "gnss (ASRL/dev/none::INSTR)"
    assert b"GPGGA" in told_to_us.value.received


@told(SKIPPED, sentence("101501.20").replace(b"5715", b"5716"))
def test_a_disturbed_line_is_no_position(receiver):
    with pytest.raises(AnswerError, match="checksum"):
        receiver.position()


def test_silence_is_said(receiver):
    with pytest.raises(BenchError):
        receiver.position()


def test_it_reads_no_quantity_and_says_what_it_is(receiver):
    assert receiver.quantities == frozenset()
    assert receiver.identity.model == "NMEA 0183 position receiver"
    assert receiver.instrument_class is InstrumentClass.POSITION_RECEIVER


def test_profiles_of_position_receivers_ship():
    assert {"nmea-0183", "navelin-gp5"} <= set(shipped_profiles())
