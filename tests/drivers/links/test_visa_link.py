"""Through pyvisa: every foreign error is one of ours, and no call holds up the caller."""

from __future__ import annotations

import subprocess
import sys
import termios
import threading

import pytest
import serial
from pyvisa.constants import StatusCode
from pyvisa.errors import InvalidSession, VisaIOError

from daq.errors import (
    AnswerError,
    LinkError,
    LinkLost,
    LinkRefused,
    LinkTimeout,
    LinkUnsupported,
)
from daq.scpi_messages import parse_block
from drivers.conversation import Conversation, MessageFormat
from drivers.links.settings import LinkSettings
from drivers.links.visa_link import VisaLink, map_visa_error
from drivers.transcript import Transcript
from tests.drivers.tiny_hislip import TinyHislip
from tests.support.clocks import within

ALL_BYTES = bytes(range(256))


@pytest.mark.parametrize(
    ("foreign", "ours"),
    [
        (VisaIOError(StatusCode.error_timeout), LinkTimeout),
        (VisaIOError(StatusCode.error_resource_busy), LinkRefused),
        (VisaIOError(StatusCode.error_resource_locked), LinkRefused),
        (VisaIOError(StatusCode.error_resource_not_found), LinkRefused),
        (VisaIOError(StatusCode.error_invalid_resource_name), LinkRefused),
        (VisaIOError(StatusCode.error_nonsupported_operation), LinkUnsupported),
        (VisaIOError(StatusCode.error_library_not_found), LinkUnsupported),
        (VisaIOError(StatusCode.error_connection_lost), LinkLost),
        (VisaIOError(StatusCode.error_io), LinkLost),
        (VisaIOError(StatusCode.error_system_error), LinkLost),
        (ConnectionRefusedError(111, "Connection refused"), LinkRefused),
        (BrokenPipeError(32, "Broken pipe"), LinkLost),
        (TimeoutError("timed out"), LinkTimeout),
        (RuntimeError("wrong xid"), LinkLost),
        (Exception("error creating link: 3"), LinkRefused),
        (NotImplementedError("trigger"), LinkUnsupported),
        (InvalidSession(), LinkLost),
        (serial.SerialException("returned no data"), LinkLost),
        (OSError(5, "Input/output error"), LinkLost),
        (termios.error(5, "Input/output error"), LinkLost),
        (UnicodeDecodeError("ascii", b"\xb0", 0, 1, "ordinal not in range"), LinkUnsupported),
        (ModuleNotFoundError("No module named 'usb'"), LinkUnsupported),
        (LinkTimeout("ours"), LinkTimeout),
    ],
    ids=lambda value: getattr(value, "__name__", None) or repr(value)[:40],
)
def test_every_foreign_error_is_one_of_ours(foreign, ours):
    found = map_visa_error(foreign, "TCPIP::h::INSTR")
    assert type(found) is ours
    assert isinstance(found, LinkError)
    assert found.message


OPEN = """
import sys, time
from daq.errors import LinkTimeout
from drivers.links.settings import LinkSettings
from drivers.links.visa_link import VisaLink
import pyvisa, pyvisa_py
began = time.perf_counter()
try:
    VisaLink(sys.argv[1], settings=LinkSettings(), timeout_s=0.5)
except LinkTimeout:
    print(time.perf_counter() - began, flush=True)
"""


def test_a_port_that_accepts_and_says_nothing_holds_up_neither_opening_nor_exit(serve):
    """pyvisa-py 0.8.1 takes 5 s whatever it is asked (measured, bench notes)."""
    release = threading.Event()
    server = serve(lambda _: release.wait(30) and None)
    resource = f"TCPIP::127.0.0.1::hislip0,{server.port}::INSTR"
    # In a process of its own, because the library leaves its half-open socket lying about.
    with subprocess.Popen(
        [sys.executable, "-c", OPEN, resource], stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout is not None
        opening_s = float(program.stdout.readline())
        with within(0.0):
            assert program.wait() == 0
    release.set()
    assert opening_s < 3.0


def test_a_library_that_is_not_there_is_said_with_the_remedy():
    settings = LinkSettings(visa_library="/nowhere/libvisa.so")
    with pytest.raises(LinkUnsupported, match="pyvisa-info"):
        VisaLink("TCPIP::127.0.0.1::INSTR", settings=settings, timeout_s=2.0)


@pytest.fixture
def hislip():
    """Serve over HiSLIP; all servers are closed at the end."""
    servers: list[TinyHislip] = []

    def start(answers):
        servers.append(TinyHislip(lambda message: answers.get(message.strip())))
        return servers[-1]

    yield start
    for server in servers:
        server.close()


@pytest.fixture
def talk(clock):
    """Open a conversation through pyvisa."""
    opened: list[Conversation] = []

    def start(server):
        link = VisaLink(server.resource, settings=LinkSettings(), timeout_s=3.0)
        opened.append(
            Conversation(
                link,
                MessageFormat(b"\n", b"\n"),
                clock=clock,
                instrument="scope",
                transcript=Transcript(clock),
                recovery_s=0.5,
            )
        )
        return opened[-1]

    yield start
    for conversation in opened:
        conversation.close()


IDENTITY = b"FERNMARK,OS-4,1,1\n"


def test_blocks_of_both_kinds_come_whole_where_the_link_marks_the_end(hislip, talk):
    server = hislip(
        {
            b"D?": b"#3256" + ALL_BYTES + b"\n",
            b"I?": b"#0" + ALL_BYTES + b"\n",
            b"V?": b"1.5\n",
        }
    )
    conversation = talk(server)
    for command in ("D?", "I?"):
        answer = conversation.ask(command, 2.0, block=True)
        assert parse_block(answer, end_marked=True) == ALL_BYTES
        assert conversation.ask("V?", 2.0).strip() == b"1.5"


def test_the_librarys_chunk_is_far_above_any_answer(hislip, talk):
    """pyvisa-py 0.8.1 loses VXI-11 answers as long as a multiple of its chunk (bench notes)."""
    answer = b"x" * 20479 + b"\n"
    conversation = talk(hislip({b"L?": answer}))
    assert conversation.ask("L?", 2.0) == answer
    assert conversation._link._session.chunk_size >= 16 * 1024 * 1024


def test_silence_is_a_timeout_in_time_and_the_next_answer_is_right(hislip, talk):
    conversation = talk(hislip({b"*IDN?": IDENTITY, b"V?": b"1.5\n"}))
    conversation.identify("*IDN?", 2.0)
    with within(0.1), pytest.raises(LinkTimeout):
        conversation.ask("silence?", 0.1)
    assert conversation.ask("V?", 2.0).strip() == b"1.5"


def test_a_dropped_link_is_no_empty_answer(hislip, talk):
    server = hislip({b"V?": b"1.5\n"})
    conversation = talk(server)
    conversation.ask("V?", 2.0)
    server.drop()
    with pytest.raises((LinkLost, LinkTimeout)):
        conversation.ask("V?", 0.2)
    with pytest.raises((LinkLost, LinkTimeout, AnswerError)):
        conversation.ask("V?", 0.2)


def test_closing_one_session_leaves_another_open_and_no_entry_behind(hislip, talk):
    first, second = (talk(hislip({b"V?": b"%d\n" % n})) for n in (1, 2))
    assert first.ask("V?", 2.0).strip() == b"1"
    sessions = first._link._session.visalib.sessions
    before = len(sessions)
    first.close()
    assert len(sessions) == before - 1
    assert second.ask("V?", 2.0).strip() == b"2"
