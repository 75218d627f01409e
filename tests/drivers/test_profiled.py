"""Instruments from profiles, on the simulated bench over its real links."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Mapping
from typing import ClassVar

import numpy as np
import pytest

from daq.clock import ManualClock, SystemClock
from daq.errors import AnswerError, IdentityError, InstrumentError, LinkLost, LinkTimeout
from daq.reading import Quality
from daq.roles import InstrumentClass
from drivers.oscilloscope import ProfiledOscilloscope
from drivers.profile import load_profile
from drivers.profiled import Place, ProfiledInstrument
from drivers.registry import find_profile, open_instrument
from drivers.session import Gap
from sim_instruments.bench import ServedBench, SimulatedBench
from tests.conformance.instrument import InstrumentConformance, OscilloscopeConformance
from tests.drivers.tiny_server import TinyServer, answering, lines
from tests.support.clocks import within

SCOPE = "TCPIP::127.0.0.1::0::SOCKET"
RECEIVER = "ASRL./receiver.tty::INSTR"


@pytest.fixture
def served(tmp_path):
    # A clock that moves only when an instrument waits: it integrates in no time.
    bench = SimulatedBench({"seed": 16}, ManualClock(), receiver="course width")

    opened: list[ServedBench] = []

    def serve(model, resource) -> ServedBench:
        opened.append(bench.serve([(model, resource)], folder=tmp_path, hands_port=None))
        return opened[-1]

    yield serve
    for one in opened:
        one.close()


class TestFernmarkOs4(OscilloscopeConformance):
    quantity: ClassVar[str] = "vpp"
    channel: ClassVar[str] = "1"

    @pytest.fixture
    def instrument(self, served, tmp_path):
        resource = served("fernmark-os4", SCOPE).resources[SCOPE]
        opened = open_instrument(
            "scope",
            InstrumentClass.OSCILLOSCOPE,
            "fernmark-os4",
            resource,
            clock=SystemClock(),
            base=tmp_path,
        )
        yield opened
        opened.close()

    def test_the_record_and_the_reading_agree(self, instrument):
        """Both look at the same signal; the limits are the specification's."""
        record = instrument.waveform(channel="1")
        reading = instrument.measure("vpp", channel="1")
        assert record.rate_hz == 40_000
        assert np.ptp(record.samples_v) == pytest.approx(reading.value, abs=4 * reading.u)


class _ReceiverOnTheBench(InstrumentConformance):
    quantity: ClassVar[str] = "ddm"
    profile: ClassVar[str]

    @pytest.fixture
    def instrument(self, served, tmp_path):
        served(self.profile, RECEIVER)
        opened = open_instrument(
            "receiver",
            InstrumentClass.NAVIGATION_RECEIVER,
            self.profile,
            RECEIVER,
            clock=SystemClock(),
            base=tmp_path,
        )
        yield opened
        opened.close()


class TestHalvorsundNr2(_ReceiverOnTheBench):
    profile: ClassVar[str] = "halvorsund-nr2"


class TestOstrelPir7(_ReceiverOnTheBench):
    profile: ClassVar[str] = "ostrel-pir7"


def test_receivers_of_opposite_sign_and_unit_agree_on_the_same_signal(served, tmp_path):
    """No Python is needed for another line format, unit and sign convention."""
    readings = []
    for profile in ("halvorsund-nr2", "ostrel-pir7"):
        served(profile, f"ASRL./{profile}.tty::INSTR")
        receiver = open_instrument(
            profile,
            InstrumentClass.NAVIGATION_RECEIVER,
            profile,
            f"ASRL./{profile}.tty::INSTR",
            clock=SystemClock(),
            base=tmp_path,
        )
        readings.append(receiver.measure("ddm"))
        receiver.close()
    first, second = readings
    assert abs(first.value) > 0.02
    assert first.value == pytest.approx(second.value, abs=2 * math.hypot(first.u, second.u))


IDENTITY = b"FERNMARK,OS-4,40117,1.6\n"
SCOPE_ANSWERS: Mapping[bytes, bytes] = {
    b"*IDN?": IDENTITY,
    b"*ESR?": b"128\n",
    b"SYSTem:ERRor:NEXT?": b'0,"No error"\n',
    b"SENSe:SWEep:TIME?": b"1.0E-01\n",
}
VPP = b"MEASure:VOLTage:PTPeak? (@1)"
TRACE = b"TRACe:DATA? CHANnel1"


@pytest.fixture
def scope(serve, tmp_path):
    """Open the oscilloscope's driver on a server that answers as told."""
    opened: list[ProfiledOscilloscope] = []

    def start(
        answers: Mapping[bytes, bytes], server: TinyServer | None = None, **place
    ) -> ProfiledOscilloscope:
        at = server or serve(answering({**SCOPE_ANSWERS, **answers}))
        where = Place("scope", at.resource, SystemClock(), tmp_path, recovery_s=0.5, **place)
        profile = find_profile("fernmark-os4", tmp_path)
        link = profile.link.model_copy(update={"timeout_s": 0.3, "quiet_s": 0.01})
        opened.append(ProfiledOscilloscope(profile.model_copy(update={"link": link}), where))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


@pytest.mark.parametrize(
    ("answer", "quality"),
    [
        (b"9.91E+37\n", Quality.NO_VALUE),
        (b"9.9E+37\n", Quality.OVER),
        (b"-9.9E+37\n", Quality.UNDER),
    ],
)
def test_a_stand_in_is_a_reading_without_a_value(scope, answer, quality):
    reading = scope({VPP: answer}).measure("vpp", channel="1")
    assert math.isnan(reading.value)
    assert math.isnan(reading.u)
    assert reading.quality is quality
    assert reading.raw == answer.decode().strip()
    assert not reading.usable


def test_another_instrument_is_refused_before_anything_but_its_name_is_asked(serve, scope):
    heard = []

    def handle(connection):
        for line in lines(connection):
            heard.append(line)
            connection.sendall(b"OSTREL,XX-9,1,1\n")

    with pytest.raises(IdentityError, match="not the instrument that the profile is for") as caught:
        scope({}, serve(handle))
    assert caught.value.received == b"OSTREL,XX-9,1,1"
    assert set(heard) == {b"*IDN?"}


def test_a_set_up_that_is_refused_names_the_error_and_the_commands(scope, serve):
    errors = iter([b'-222,"Data out of range"\n', b'-113,"Undefined header"\n'])

    def handle(connection):
        for line in lines(connection):
            if line == b"SYSTem:ERRor:NEXT?":
                connection.sendall(next(errors, b'0,"No error"\n'))
            else:
                connection.sendall(SCOPE_ANSWERS.get(line, b""))

    with pytest.raises(InstrumentError, match=r"-222 Data out of range \(execution") as caught:
        scope({}, serve(handle))
    assert caught.value.code == -222
    assert b"VOLTage:RANGe" in caught.value.sent


def test_an_error_queue_that_is_never_empty_is_read_a_bounded_number_of_times(scope, serve):
    asked = []

    def handle(connection):
        for line in lines(connection):
            if line == b"SYSTem:ERRor:NEXT?":
                asked.append(line)
                connection.sendall(b'-350,"Queue overflow"\n')
            else:
                connection.sendall(SCOPE_ANSWERS.get(line, b""))

    with pytest.raises(InstrumentError, match="-350"):
        scope({}, serve(handle))
    assert len(asked) == 100


@pytest.mark.parametrize("answer", [b"garbage\n", b"1.5 A\n", b"\xff\xfe1.5\n", b"1,5\n"])
def test_an_answer_that_is_none_is_an_error_with_its_text_and_the_link_recovers(scope, answer):
    instrument = scope({VPP: answer, VPP.replace(b"1", b"2"): b"1.25\n"})
    with pytest.raises(AnswerError) as caught:
        instrument.measure("vpp", channel="1")
    assert caught.value.sent == VPP
    assert caught.value.instrument.startswith("scope (TCPIP::")
    assert instrument.measure("vpp", channel="2").value == 1.25


def test_a_wrong_answer_is_explained_by_the_error_queue(scope, serve):
    errors = iter([b'0,"No error"\n', b'-113,"Undefined header"\n'])

    def handle(connection):
        for line in lines(connection):
            if line == b"SYSTem:ERRor:NEXT?":
                connection.sendall(next(errors, b'0,"No error"\n'))
            else:
                connection.sendall(SCOPE_ANSWERS.get(line, b"what?\n" if line == VPP else b""))

    with pytest.raises(InstrumentError, match="-113 Undefined header"):
        scope({}, serve(handle)).measure("vpp", channel="1")


@pytest.mark.parametrize(
    ("answer", "match"),
    [
        (b"#13abc\n", "no samples of 4 bytes"),
        (b"#10\n", "no samples"),
        (b"#14\x7f\xc0\x00\x00\n", "no voltages"),
        (b"#14\x7f\x80\x00\x01\n", "no voltages"),
        (b"1.5\n", "block was expected"),
        (b"#0\x00\x00\x00\x00\n", "indefinite"),
    ],
)
def test_a_record_that_is_none_is_an_error(scope, answer, match):
    with pytest.raises(AnswerError, match=match):
        scope({TRACE: answer}).waveform(channel="1")


def test_a_record_is_read_whatever_bytes_it_holds_and_clipping_is_told(scope):
    samples = np.array([0.0, 1.0, -1.5, 2.5e-9], ">f4")
    assert b"\n" in np.array([2.5e-9], ">f4").tobytes() + b"\n"
    record = scope({TRACE: b"#216" + samples.tobytes() + b"\n"}).waveform(channel="1")
    assert record.samples_v.tolist() == samples.astype(float).tolist()
    assert record.rate_hz == 40.0
    assert record.clipped


def test_a_power_cycle_is_a_gap_and_the_settings_are_sent_again(scope, serve):
    gaps: list[Gap] = []
    heard: list[bytes] = []

    def handle(connection):
        for line in lines(connection):
            heard.append(line)
            connection.sendall({**SCOPE_ANSWERS, VPP: b"1.5\n"}.get(line, b""))

    server = serve(handle)
    instrument = scope({}, server, on_gap=gaps.append)
    instrument.measure("vpp", channel="1")
    server.drop_clients()
    heard.clear()
    with within(0.3):
        with pytest.raises(LinkLost, match="closed the connection"):
            instrument.measure("vpp", channel="1")
        assert instrument.measure("vpp", channel="1").value == 1.5
    [gap] = gaps
    assert gap.power_cycled is True
    assert "closed the connection" in gap.reason
    assert heard.index(b"*IDN?") < heard.index(b"SENSe4:VOLTage:RANGe:UPPer 3") < heard.index(VPP)


def test_a_silent_instrument_is_a_timeout_in_time_and_the_next_answer_is_right(scope, serve):
    calm: list[Callable[[], bool]] = [lambda: False]

    def handle(connection):
        for line in lines(connection):
            if line == VPP and not calm[0]():
                continue
            connection.sendall({**SCOPE_ANSWERS, VPP: b"1.5\n"}.get(line, b""))

    instrument = scope({}, serve(handle))
    with within(0.3), pytest.raises(LinkTimeout, match=r"No answer within 0\.3 s"):
        instrument.measure("vpp", channel="1")
    calm[0] = lambda: True
    assert instrument.measure("vpp", channel="1").value == 1.5


@pytest.fixture
def receiver(line, tmp_path):
    """Open a receiver's driver on a serial line that answers as told."""
    opened: list[ProfiledInstrument] = []

    def start(profile: str, answers: Mapping[bytes, bytes], terminator=b"\r"):
        line.serve(lambda command: answers.get(command, b""), terminator)
        where = Place("rx", line.resource, SystemClock(), tmp_path, recovery_s=0.3)
        opened.append(ProfiledInstrument(find_profile(profile, tmp_path), where))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


NR2 = b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n"
PIR7 = b"I=OSTREL/PIR7/0093/1.04\n"


@pytest.mark.parametrize(
    ("answer", "quality", "value"),
    [
        (b"DDM +0.1550 OK\r\n", Quality.OK, 0.155),
        (b"DDM -0.1020 OK\r\n", Quality.OK, -0.102),
        (b"DDM ---- LOW\r\n", Quality.NO_VALUE, math.nan),
        (b"DDM +0.3900 OVR\r\n", Quality.OVER, math.nan),
        (b"DDM +0.4500 OK\r\n", Quality.IMPOSSIBLE, 0.45),
    ],
)
def test_status_words_of_the_nr2(receiver, answer, quality, value):
    reading = receiver("halvorsund-nr2", {b"ID": NR2, b"DDM": answer}).measure("ddm")
    assert reading.quality is quality
    assert reading.value == pytest.approx(value, nan_ok=True)
    assert reading.raw == answer.decode().strip()


@pytest.mark.parametrize(
    ("answer", "quality", "value"),
    [
        (b"D=-150.0uA;S=A\n", Quality.OK, 0.155),
        (b"D=+98.7uA;S=A\n", Quality.OK, -0.10199),
        (b"D=+0.0uA;S=V\n", Quality.FLAGGED, math.nan),
    ],
)
def test_the_pir7_is_turned_to_positive_150_and_to_ratio(receiver, answer, quality, value):
    """0.155 DDM = 150 uA (common practice, no source); the PIR 7 counts 90 Hz positive."""
    reading = receiver("ostrel-pir7", {b"Q:I": PIR7, b"Q:D": answer}, b"\n").measure("ddm")
    assert reading.quality is quality
    assert reading.value == pytest.approx(value, nan_ok=True)


def test_the_uncertainty_of_the_pir7_is_its_specification_in_ratio(receiver):
    """Hand-worked: (1.5 + 1.5) uA / 2 = 1.5 uA = 0.00155."""
    answers = {b"Q:I": PIR7, b"Q:D": b"D=-150.0uA;S=A\n"}
    assert receiver("ostrel-pir7", answers, b"\n").measure("ddm").u == pytest.approx(0.00155)


def test_a_status_that_the_profile_does_not_explain_is_an_error(receiver):
    instrument = receiver("halvorsund-nr2", {b"ID": NR2, b"DDM": b"DDM +0.1 HOT\r\n"})
    with pytest.raises(AnswerError, match="status 'HOT' is not explained"):
        instrument.measure("ddm")


def test_an_error_reply_is_the_instruments_own_error(receiver):
    instrument = receiver("halvorsund-nr2", {b"ID": NR2, b"DDM": b"?\r\n"})
    with pytest.raises(InstrumentError, match="does not accept the command") as caught:
        instrument.measure("ddm")
    assert (caught.value.sent, caught.value.received) == (b"DDM", b"?")


def test_after_a_wrong_answer_a_stale_one_is_never_taken_for_the_next(line, tmp_path):
    waiting = [b""]

    def answer(command: bytes) -> bytes:
        stale, waiting[0] = waiting[0], b""
        if command == b"ID":
            return stale + NR2
        if command == b"SDM":
            waiting[0] = b"DDM +0.0990 OK\r\n"
            return b"SDM 0.4O01 OK\r\n"
        return stale + b"DDM +0.1550 OK\r\n"

    line.serve(answer, b"\r")
    where = Place("rx", line.resource, SystemClock(), tmp_path, recovery_s=1.0)
    instrument = ProfiledInstrument(find_profile("halvorsund-nr2", tmp_path), where)
    with pytest.raises(AnswerError, match="number was expected"):
        instrument.measure("sdm")
    assert instrument.measure("ddm").value == 0.155
    instrument.close()


STREAMING = """\
[instrument]
class = "navigation receiver"
[link]
write_terminator = "\\n"
read_terminator = "\\n"
streaming = true
timeout_s = 0.5
[identification]
answer = '(?P<model>NV).*'
[quantity.ddm]
answer = 'NV D(?P<value>\\S+)'
unit = "%"
positive_tone = 150
accuracy = [{floor = 0.1, coverage = "k=2"}]
[quantity.sdm]
answer = 'NV S(?P<value>\\S+)'
unit = "%"
accuracy = [{floor = 0.1, coverage = "k=2"}]
"""


def test_an_instrument_that_talks_on_its_own_is_heard(serve, tmp_path):
    def talk(connection):
        for number in range(500):
            connection.sendall(b"NV D%d.0\nNV S40.0\n" % (number % 5))
            time.sleep(0.003)

    (tmp_path / "talker.toml").write_text(STREAMING)
    where = Place("rx", serve(talk).resource, SystemClock(), tmp_path)
    instrument = ProfiledInstrument(load_profile(tmp_path / "talker.toml"), where)
    assert 0 <= instrument.measure("ddm").value <= 0.04
    assert instrument.measure("sdm").value == pytest.approx(0.4)
    instrument.close()


@pytest.mark.parametrize(
    ("before", "after", "same"),
    [
        ("timeout_s = 0.5", "timeout_s = 0.6", True),
        ("floor = 0.1", "floor = 0.2", True),
        ("positive_tone = 150", "positive_tone = 90", False),
        ('unit = "%"\npositive', 'unit = "uA"\npositive', False),
        ("NV D(?P", "NV [DS](?P", False),
    ],
)
def test_the_way_of_reading_is_another_when_value_or_sign_may_be(
    serve, tmp_path, before, after, same
):
    done = threading.Event()

    def talk(connection):
        while not done.wait(0.003):
            connection.sendall(b"NV D1.0\n")

    def way(text: str) -> str:
        (tmp_path / "talker.toml").write_text(text)
        server = serve(talk)
        where = Place("rx", server.resource, SystemClock(), tmp_path)
        instrument = ProfiledInstrument(load_profile(tmp_path / "talker.toml"), where)
        instrument.close()
        return instrument.way_of_reading("ddm")

    changed = STREAMING.replace(before, after)
    assert changed != STREAMING
    assert (way(STREAMING) == way(changed)) is same
    done.set()
