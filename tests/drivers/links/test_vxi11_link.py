"""VXI-11 through pyvisa-py: long answers, locks, and an instrument that hangs."""

from __future__ import annotations

import threading

import pytest

from daq.errors import LinkError, LinkRefused
from drivers.links.settings import LinkSettings
from drivers.links.visa_link import VisaLink
from sim_instruments.vxi11_server import Vxi11Server
from tests.support.clocks import within


class Talker:
    """Answers ``<n>`` with n bytes; ``HANG`` never."""

    def __init__(self, release: threading.Event) -> None:
        self._release = release

    def feed(self, data: bytes) -> bytes:
        if data.startswith(b"HANG"):
            self._release.wait(5.0)
            return b""
        return b"x" * (int(data) - 1) + b"\n"


@pytest.fixture
def resource():
    release = threading.Event()
    server = Vxi11Server(lambda: Talker(release))
    yield f"TCPIP::127.0.0.1,{server.address[1]}::INSTR"
    release.set()
    server.close()


@pytest.fixture
def link(resource):
    opened: list[VisaLink] = []

    def start(**settings: object) -> VisaLink:
        opened.append(VisaLink(resource, settings=LinkSettings(**settings), timeout_s=2.0))  # type: ignore[arg-type]  # a test's own
        return opened[-1]

    yield start
    for one in opened:
        one.close()


@pytest.mark.parametrize("size", [16, 20480, 40960, 1_048_576])
def test_an_answer_of_any_length_comes_whole(link, size):
    """pyvisa-py 0.8.1 loses answers of a multiple of its default chunk, 20480 bytes."""
    talker = link()
    talker.write(b"%d\n" % size, 1.0)
    chunk = talker.read(2.0)
    assert (len(chunk.data), chunk.end) == (size, True)


def test_an_instrument_that_another_client_has_locked_is_refused_without_a_wait(link):
    """The library's own wait would be 10 s."""
    first = link(lock=True)
    with within(0.1), pytest.raises(LinkRefused, match="somebody else holds it"):
        link(lock=True)
    first.close()
    link(lock=True)


def test_a_lock_is_waited_for_as_long_as_the_profile_says(link):
    first = link(lock=True)
    threading.Timer(0.2, first.close).start()
    link(lock=True, lock_timeout_s=1.5)


def test_an_instrument_that_hangs_is_an_error_of_ours_and_holds_up_nothing(link):
    talker = link()
    with within(1.3), pytest.raises(LinkError):  # the library adds 1 s of its own
        _ask(talker, b"HANG\n")
    with within(0.3):
        talker.close()


def _ask(talker: VisaLink, question: bytes) -> bytes:
    talker.write(question, 0.2)
    return talker.read(0.2).data
