"""HiSLIP in synchronized mode, message by message over two sockets (IVI-6.1)."""

from __future__ import annotations

import socket
import threading

import pytest

from sim_instruments.hislip import HislipServer
from sim_instruments.hislip_messages import Kind, Message, next_message
from sim_instruments.scpi import ScpiInstrument, ScpiSession, asks

FIRST_ID = 0xFFFFFF00


@pytest.fixture
def server():
    """An instrument that knows common commands and one long answer; no thread stays behind."""
    before = threading.active_count()
    instrument = ScpiInstrument("A,B,C,D", {"LONG?": asks(lambda: "x" * 50)}, lambda: None)
    running = HislipServer(lambda: ScpiSession(instrument))
    yield running
    running.close()
    running.close()
    assert threading.active_count() <= before


class Channel:
    """One of a client's connections."""

    def __init__(self, server: HislipServer) -> None:
        self.socket = socket.create_connection(server.address, 2)
        self.rest = b""

    def send(self, kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        self.socket.sendall(Message(kind, control, parameter, payload).packed())

    def receive(self) -> Message:
        while (found := next_message(self.rest)) is None:
            data = self.socket.recv(1000)
            assert data, "the server closed the connection"
            self.rest += data
        message, self.rest = found
        return message

    def ask(self, *request: int | bytes) -> Message:
        self.send(*request)  # type: ignore[arg-type]  # the test's own shorthand
        return self.receive()


class Client:
    """Both connections."""

    def __init__(self, server: HislipServer) -> None:
        self.sync, self.other = Channel(server), Channel(server)
        opened = self.sync.ask(Kind.INITIALIZE, 0, 0x0100_7878, b"hislip0")
        assert (opened.kind, opened.control, opened.parameter >> 16) == (1, 0, 0x0100)
        answer = self.other.ask(Kind.ASYNC_INITIALIZE, 0, opened.parameter & 0xFFFF)
        assert answer.kind == Kind.ASYNC_INITIALIZE_RESPONSE

    def say(self, text: bytes, message_id: int, *, read: bool = True) -> None:
        self.sync.send(Kind.DATA_END, int(read), message_id, text)

    def close(self) -> None:
        self.sync.socket.close()
        self.other.socket.close()


@pytest.fixture
def client(server):
    """A client that has been let in."""
    made = Client(server)
    yield made
    made.close()


def test_a_response_carries_the_number_of_its_question(client):
    """Also when the question came in two messages: that of the last."""
    client.sync.send(Kind.DATA, 1, FIRST_ID, b"*ID")
    client.say(b"N?", FIRST_ID + 2)
    assert client.sync.receive() == Message(Kind.DATA_END, 0, FIRST_ID + 2, b"A,B,C,D\n")


def test_long_responses_come_in_the_size_agreed_on(client):
    """AsyncMaximumMessageSize: each side tells what it takes."""
    size = client.other.ask(Kind.ASYNC_MAX_MESSAGE_SIZE, 0, 0, (20).to_bytes(8, "big"))
    assert int.from_bytes(size.payload, "big") == 1 << 20
    client.say(b"LONG?\n", FIRST_ID)
    pieces = [client.sync.receive() for _ in range(3)]
    assert [piece.kind for piece in pieces] == [Kind.DATA, Kind.DATA, Kind.DATA_END]
    assert b"".join(piece.payload for piece in pieces) == b"x" * 50 + b"\n"


def test_an_unread_response_is_interrupted_on_both_channels(client):
    """IVI-6.1, 3.1.1: Interrupted, AsyncInterrupted, and -410 in the queue."""
    client.say(b"*CLS\n", FIRST_ID)
    client.say(b"*IDN?\n", FIRST_ID + 2)
    client.sync.receive()
    client.say(b"SYST:ERR?\n", FIRST_ID + 4, read=False)
    assert client.sync.receive().kind == Kind.INTERRUPTED
    assert client.other.receive().kind == Kind.ASYNC_INTERRUPTED
    assert client.sync.receive().payload == b'-410,"Query INTERRUPTED"\n'


def test_status_counts_a_response_until_it_is_read(client):
    """Message available (16) until the client says that it has all of it."""
    client.say(b"*CLS;*IDN?\n", FIRST_ID)
    client.sync.receive()
    assert client.other.ask(Kind.ASYNC_STATUS_QUERY, 0, FIRST_ID).control == 16
    assert client.other.ask(Kind.ASYNC_STATUS_QUERY, 1, FIRST_ID).control == 0


def test_device_clear(client):
    """Half a message is forgotten; what is sent while it lasts is thrown away."""
    client.say(b"*CLS\n", FIRST_ID)
    client.sync.send(Kind.DATA, 0, FIRST_ID + 2, b"*IDN?;NONS")
    acknowledged = client.other.ask(Kind.ASYNC_DEVICE_CLEAR)
    assert acknowledged.kind == Kind.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE
    client.say(b"ENSE?\n", FIRST_ID + 4)
    done = client.sync.ask(Kind.DEVICE_CLEAR_COMPLETE)
    assert done.kind == Kind.DEVICE_CLEAR_ACKNOWLEDGE
    client.say(b"SYST:ERR?\n", FIRST_ID)
    assert client.sync.receive().payload == b'0,"No error"\n'


def test_trigger_and_remote_local(client):
    """A trigger is ``*TRG``, which this instrument does not know."""
    client.say(b"*CLS\n", FIRST_ID)
    client.sync.send(Kind.TRIGGER, 1, FIRST_ID + 2)
    client.say(b"SYST:ERR?\n", FIRST_ID + 4)
    assert client.sync.receive().payload == b'-113,"Undefined header"\n'
    answer = client.other.ask(Kind.ASYNC_REMOTE_LOCAL_CONTROL, 3, FIRST_ID)
    assert answer.kind == Kind.ASYNC_REMOTE_LOCAL_RESPONSE


def test_the_lock_makes_others_wait(client, server):
    """1 granted, 0 not in time, 3 misuse; who has no lock is served when it is given back."""
    other = Client(server)
    assert client.other.ask(Kind.ASYNC_LOCK, 1, 0).control == 1
    assert client.other.ask(Kind.ASYNC_LOCK, 1, 0).control == 3
    assert client.other.ask(Kind.ASYNC_LOCK_INFO) == Message(Kind.ASYNC_LOCK_INFO_RESPONSE, 1, 1)
    assert other.other.ask(Kind.ASYNC_LOCK, 1, 5).control == 0
    assert other.other.ask(Kind.ASYNC_LOCK, 0, 0).control == 3
    assert other.other.ask(Kind.ASYNC_LOCK, 1, 0, b"shared").control == 3
    other.say(b"*IDN?\n", FIRST_ID)
    other.sync.socket.settimeout(0.02)
    with pytest.raises(TimeoutError):
        other.sync.receive()
    assert client.other.ask(Kind.ASYNC_LOCK, 0, FIRST_ID).control == 1
    other.sync.socket.settimeout(2)
    assert other.sync.receive().payload == b"A,B,C,D\n"
    other.close()


def test_a_client_that_leaves_gives_its_lock_back(client, server):
    """The next one gets it."""
    client.other.ask(Kind.ASYNC_LOCK, 1, 0)
    client.close()
    other = Client(server)
    assert other.other.ask(Kind.ASYNC_LOCK, 1, 2000).control == 1
    other.close()


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"GET / HTTP/1.1\r\n\r\n", 1),
        (Message(Kind.DATA_END, 0, FIRST_ID, b"*IDN?\n").packed(), 3),
        (Message(Kind.INITIALIZE, 0, 0, b"hislip7").packed(), 3),
        (Message(Kind.ASYNC_INITIALIZE, 0, 999).packed(), 3),
    ],
)
def test_a_wrong_beginning_is_fatal(server, data, code):
    """FatalError with its code (IVI-6.1, table 16), and the end of the connection."""
    channel = Channel(server)
    channel.socket.sendall(data)
    answer = channel.receive()
    assert (answer.kind, answer.control) == (Kind.FATAL_ERROR, code)
    assert channel.socket.recv(1) == b""
    channel.socket.close()


def test_an_unknown_message_is_an_error_and_no_more(client):
    """Error code 1, on either channel; the link lives."""
    for channel in (client.sync, client.other):
        answer = channel.ask(Kind.ASYNC_STATUS_RESPONSE)
        assert (answer.kind, answer.control) == (Kind.ERROR, 1)
    client.say(b"*IDN?\n", FIRST_ID)
    assert client.sync.receive().payload == b"A,B,C,D\n"
