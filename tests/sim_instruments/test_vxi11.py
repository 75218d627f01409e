"""VXI-11 procedures as packed bytes (VXI-11 revision 1.0, appendix B), without a socket."""

from __future__ import annotations

import threading

import pytest

from sim_instruments.rpc import NoProcedure
from sim_instruments.scpi import ScpiInstrument, ScpiSession, asks
from sim_instruments.vxi11 import LARGEST_WRITE, LINKS, AbortProgram, CoreProgram, Vxi11Device
from sim_instruments.xdr import Unpacker, XdrError, packed

END, TERM, WAIT = 8, 128, 1
CREATE, WRITE, READ, STATUS, TRIGGER, CLEAR, REMOTE, LOCAL = 10, 11, 12, 13, 14, 15, 16, 17
LOCK, UNLOCK, ENABLE_SRQ, DOCMD, DESTROY, CREATE_INTERRUPT = 18, 19, 20, 22, 23, 25


@pytest.fixture
def device():
    """An instrument that knows common commands and one long answer."""
    instrument = ScpiInstrument("A,B,C,D", {"LONG?": asks(lambda: "x" * 9)}, lambda: None)
    made = Vxi11Device(lambda: ScpiSession(instrument))
    yield made
    made.close()


class Client:
    """Packs arguments and unpacks the words of results."""

    def __init__(self, device: Vxi11Device) -> None:
        self.program = CoreProgram(device, 4242)
        self.link = 0

    def call(self, procedure: int, *arguments: int | bytes) -> Unpacker:
        return Unpacker(self.program.call(procedure, Unpacker(packed(*arguments))))

    def error(self, procedure: int, *arguments: int | bytes) -> int:
        return self.call(procedure, *arguments).integer()

    def create(self, *, lock: int = 0, name: bytes = b"inst0") -> int:
        results = self.call(CREATE, 1, lock, 10, name)
        error = results.integer()
        self.link = results.integer()
        self.abort_port, self.largest = results.integer(), results.integer()
        return error

    def write(self, data: bytes, flags: int = END) -> tuple[int, int]:
        results = self.call(WRITE, self.link, 100, 10, flags, data)
        return results.integer(), results.integer()

    def read(
        self, size: int = 100, flags: int = 0, term: int = 0, ms: int = 2000
    ) -> tuple[int, int, bytes]:
        results = self.call(READ, self.link, size, ms, 10, flags, term)
        return results.integer(), results.integer(), results.opaque()

    def generic(self, procedure: int) -> int:
        return self.error(procedure, self.link, 0, 10, 100)


@pytest.fixture
def client(device):
    """A client with an open link."""
    made = Client(device)
    assert made.create() == 0
    return made


def test_link_tells_the_abort_port_and_the_largest_write(client):
    """Create_LinkResp; a longer write is a parameter error (5) and nothing of it is done."""
    assert (client.abort_port, client.largest) == (4242, LARGEST_WRITE)
    assert client.write(b"x" * (LARGEST_WRITE + 1)) == (5, 0)


def test_a_query_in_two_writes_and_three_reads(client):
    """Reasons: 1 the count asked for, 2 the termination character, 4 the end of the message."""
    assert client.write(b"LONG?;*ID", 0) == (0, 9)
    assert client.write(b"N?") == (0, 2)
    assert client.read(9) == (0, 1, b"x" * 9)
    assert client.read(100, TERM, ord(",")) == (0, 2, b";A,")
    assert client.read(6) == (0, 1 | 4, b"B,C,D\n")


def test_query_errors_arise_where_they_should(client):
    """A read with nothing asked is an I/O timeout (15) and -420; an interrupted answer -410."""
    client.write(b"*CLS")
    threading.Event().wait(0.005)
    assert client.read(ms=5) == (15, 0, b"")
    client.write(b"SYST:ERR?")
    assert client.read()[2] == b'-420,"Query UNTERMINATED"\n'
    client.write(b"LONG?")
    client.write(b"SYST:ERR?")
    assert client.read()[2] == b'-410,"Query INTERRUPTED"\n'


def test_status_trigger_clear_remote_local(client):
    """Status without a message; a trigger is ``*TRG``; a clear takes the answer away."""
    client.write(b"*CLS")
    client.write(b"LONG?")
    client.read(1)
    results = client.call(STATUS, client.link, 0, 10, 100)
    assert (results.integer(), results.integer()) == (0, 16)
    assert client.generic(CLEAR) == 0
    assert client.generic(TRIGGER) == 0
    client.write(b"SYST:ERR?")
    assert client.read()[2] == b'-113,"Undefined header"\n'  # this one has no *TRG
    assert client.generic(REMOTE) == client.generic(LOCAL) == 0


def test_the_lock_shuts_others_out(client, device):
    """Error 11 for who does not hold it, 12 for who gives back what is not held."""
    other = Client(device)
    other.create()
    assert client.error(UNLOCK, client.link) == 12
    assert client.error(LOCK, client.link, 0, 0) == 0
    assert other.write(b"*IDN?") == (11, 0)
    assert other.read() == (11, 0, b"")
    assert other.generic(CLEAR) == 11
    assert other.error(LOCK, other.link, WAIT, 5) == 11
    assert Client(device).create(lock=1) == 11
    assert client.error(UNLOCK, client.link) == 0
    assert other.error(LOCK, other.link, 0, 0) == 0


def test_a_lost_connection_gives_its_lock_back(client, device):
    """And its links are gone."""
    client.error(LOCK, client.link, 0, 0)
    client.program.hang_up()
    assert client.write(b"*IDN?") == (4, 0)
    assert Client(device).create(lock=1) == 0


def test_links_that_are_not_there(client):
    """Error 4 everywhere; destroying ends a link; another device name is error 3."""
    assert client.error(DESTROY, client.link) == 0
    assert client.error(DESTROY, client.link) == 4
    assert client.write(b"*IDN?") == (4, 0)
    assert client.read() == (4, 0, b"")
    assert client.error(LOCK, client.link, 0, 0) == client.error(UNLOCK, client.link) == 4
    assert client.create(name=b"gpib0,7") == 3


def test_too_many_links(device):
    """Error 9, out of resources."""
    client = Client(device)
    assert [client.create() for _ in range(LINKS + 1)] == [0] * LINKS + [9]


def test_what_is_not_supported_says_so(client):
    """Service requests, docmd and the interrupt channel: error 8; other procedures: none."""
    assert client.error(ENABLE_SRQ, client.link, 1, b"") == 8
    assert client.error(DOCMD, client.link, 0, 0, 0, 0, 0, 0, b"") == 8
    assert client.error(CREATE_INTERRUPT, 0, 0, 0, 0, 0) == 8
    with pytest.raises(NoProcedure):
        client.call(99)
    with pytest.raises(XdrError):
        client.call(READ, 1)


def test_the_abort_channel_ends_a_read_that_waits(client, device):
    """Error 23 in the read; an unknown link is error 4."""
    abort = AbortProgram(device)
    client.write(b"*CLS")
    results: list[tuple[int, int, bytes]] = []
    reader = threading.Thread(target=lambda: results.append(client.read(ms=30_000)))
    reader.start()
    while reader.is_alive():
        assert abort.call(1, Unpacker(packed(client.link))) == packed(0)
        reader.join(0.005)
    assert results == [(23, 0, b"")]
    assert abort.call(1, Unpacker(packed(99))) == packed(4)
    with pytest.raises(NoProcedure):
        abort.call(2, Unpacker(b""))
