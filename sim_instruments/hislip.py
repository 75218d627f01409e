"""HiSLIP server in synchronized mode (IVI-6.1, revision 1.1, protocol version 1.0).

A client has two connections. On the synchronous one it sends program messages and gets responses
as soon as they are ready; on the asynchronous one it asks for the status byte, the lock and a
device clear, while the other may be busy. A response that the client had not read whole when it
sent the next message is interrupted (-410); that a client reads where nothing was asked cannot be
seen by a HiSLIP server, so -420 does not arise. Shared locks are refused.
"""

from __future__ import annotations

import itertools
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from sim_instruments.hislip_messages import PAYLOAD_LIMIT, Kind, Malformed, Message, next_message
from sim_instruments.instrument_lock import InstrumentLock
from sim_instruments.sessions import (
    MESSAGE_AVAILABLE,
    HangsUp,
    LinkDropped,
    MessageSession,
    Session,
    as_messages,
)
from sim_instruments.tcp_server import TcpServer

SUB_ADDRESS: Final = b"hislip0"
PROTOCOL_VERSION: Final = 0x0100
VENDOR: Final = int.from_bytes(b"TB", "big")
RMT_DELIVERED: Final = 1
ANY_LIMIT_S: Final = 60.0
SPEAK_S: Final = 0.02


@dataclass(slots=True)
class Client:
    """What both connections of one client share.

    Attributes
    ----------
    number
        Session number.
    session
        The instrument's side.
    largest
        Largest payload that the client takes.
    last_id
        Number of the newest message from the client.
    unread
        A response was sent and the client has not said that it read all of it.
    clearing
        A device clear is under way: messages are thrown away.
    outbox
        Waits to be sent on the asynchronous connection.
    """

    number: int
    session: MessageSession
    largest: int = PAYLOAD_LIMIT
    last_id: int = 0
    unread: bool = False
    clearing: bool = False
    outbox: queue.Queue[Message] = field(default_factory=queue.Queue)


class HislipServer:
    """One instrument at ``hislip0``.

    Parameters
    ----------
    make_session
        Called once a client.
    host, port
        Where to listen; port 0 lets the system choose. The registered port is 4880.

    Raises
    ------
    OSError
        The address is in use or not ours.
    """

    def __init__(
        self, make_session: Callable[[], Session], host: str = "127.0.0.1", port: int = 0
    ) -> None:
        self._make_session = make_session
        self._numbers = itertools.count(1)
        self.clients: dict[int, Client] = {}
        self.lock = InstrumentLock()
        self._tcp = TcpServer(lambda: HislipConnection(self), host, port)

    @property
    def address(self) -> tuple[str, int]:
        """Host and port."""
        return self._tcp.address

    def admit(self) -> Client:
        """Return a new client."""
        client = Client(next(self._numbers) & 0xFFFF, as_messages(self._make_session()))
        self.clients[client.number] = client
        return client

    def dismiss(self, client: Client) -> None:
        """Forget a client and give its lock back."""
        self.clients.pop(client.number, None)
        self.lock.release(client.number)
        if isinstance(client.session, HangsUp):
            client.session.hang_up()

    def drop_clients(self) -> None:
        """Break every connection, as a cable pulled out does."""
        self._tcp.drop_clients()

    def close(self) -> None:
        """Close everything; harmless when repeated."""
        self.lock.close()
        self._tcp.close()


class HislipConnection:
    """One TCP connection: which of the two it is, its first message says."""

    def __init__(self, server: HislipServer) -> None:
        self._server = server
        self._input = b""
        self._client: Client | None = None
        self._answer: Callable[[Client, Message], bytes] = self._synchronous
        self._is_async = False

    def feed(self, data: bytes) -> bytes:
        """See `Session`."""
        self._input += data
        sent = b""
        try:
            while (found := next_message(self._input)) is not None:
                message, self._input = found
                sent += self._handle(message)
        except Malformed:
            raise LinkDropped(
                last_words=sent + _fatal(1, b"poorly formed message header")
            ) from None
        except LinkDropped as drop:
            raise LinkDropped(drop.back_s, sent + drop.last_words) from drop
        return sent

    def speak(self, gone: threading.Event) -> bytes:
        """See `Speaks`: what the asynchronous connection has to say unasked."""
        if self._client is None or not self._is_async:
            gone.wait(SPEAK_S)
            return b""
        try:
            return self._client.outbox.get(timeout=SPEAK_S).packed()
        except queue.Empty:
            return b""

    def hang_up(self) -> None:
        """See `HangsUp`; a client that loses one connection has lost both."""
        if self._client is not None:
            self._server.dismiss(self._client)

    def _handle(self, message: Message) -> bytes:
        if self._client is not None:
            return self._answer(self._client, message)
        if message.kind == Kind.INITIALIZE and message.payload.lower() in (b"", SUB_ADDRESS):
            self._client = self._server.admit()
            parameter = PROTOCOL_VERSION << 16 | self._client.number
            return Message(Kind.INITIALIZE_RESPONSE, 0, parameter).packed()
        if message.kind == Kind.ASYNC_INITIALIZE and message.parameter in self._server.clients:
            self._client = self._server.clients[message.parameter]
            self._answer = self._asynchronous
            self._is_async = True
            return Message(Kind.ASYNC_INITIALIZE_RESPONSE, 0, VENDOR).packed()
        raise LinkDropped(last_words=_fatal(3, b"invalid initialization sequence"))

    def _synchronous(self, client: Client, message: Message) -> bytes:
        if message.kind == Kind.DEVICE_CLEAR_COMPLETE:
            client.session.clear()
            client.clearing = client.unread = False
            return Message(Kind.DEVICE_CLEAR_ACKNOWLEDGE).packed()
        if message.kind not in (Kind.DATA, Kind.DATA_END, Kind.TRIGGER):
            return _unknown()
        if client.clearing or not self._server.lock.passes(client.number, ANY_LIMIT_S):
            return b""
        sent = self._interrupted(client, message)
        client.last_id = message.parameter
        if message.kind == Kind.TRIGGER:
            client.session.receive(b"*TRG\n")
        else:
            client.session.receive(message.payload)
        if message.kind == Kind.DATA_END:
            client.session.end()
        return sent + self._response(client)

    def _interrupted(self, client: Client, message: Message) -> bytes:
        """Say on both connections that a response was not read whole (IVI-6.1, 3.1.1)."""
        unread, client.unread = client.unread, False
        if message.control & RMT_DELIVERED or not unread:
            return b""
        client.session.interrupt()
        client.outbox.put(Message(Kind.ASYNC_INTERRUPTED, 0, message.parameter))
        return Message(Kind.INTERRUPTED, 0, message.parameter).packed()

    def _response(self, client: Client) -> bytes:
        if not client.session.serial_poll() & MESSAGE_AVAILABLE:
            return b""
        try:
            answer = client.session.read()
        except LinkDropped as drop:
            words = Message(Kind.DATA, 0, client.last_id, drop.last_words).packed()
            raise LinkDropped(drop.back_s, words if drop.last_words else b"") from drop
        if not answer or client.clearing:
            return b""
        client.unread = True
        size = client.largest
        pieces = [answer[at : at + size] for at in range(0, len(answer), size)]
        # Without its terminator an answer is not over, and the rest never comes.
        ends = [*([Kind.DATA] * (len(pieces) - 1)), Kind.DATA_END]
        if not answer.endswith(b"\n"):
            ends[-1] = Kind.DATA
        return b"".join(
            Message(kind, 0, client.last_id, piece).packed()
            for kind, piece in zip(ends, pieces, strict=True)
        )

    def _asynchronous(self, client: Client, message: Message) -> bytes:
        answers: dict[int, Callable[[Client, Message], Message]] = {
            Kind.ASYNC_MAX_MESSAGE_SIZE: _agree_on_size,
            Kind.ASYNC_STATUS_QUERY: _status,
            Kind.ASYNC_DEVICE_CLEAR: _begin_clear,
            Kind.ASYNC_LOCK: self._lock,
            Kind.ASYNC_LOCK_INFO: self._lock_info,
            Kind.ASYNC_REMOTE_LOCAL_CONTROL: lambda _client, _message: Message(
                Kind.ASYNC_REMOTE_LOCAL_RESPONSE
            ),
        }
        if message.kind not in answers:
            return _unknown()
        return answers[message.kind](client, message).packed()

    def _lock(self, client: Client, message: Message) -> Message:
        """Request (control 1; the parameter is patience in ms) or release the lock."""
        lock = self._server.lock
        if message.control != 1:
            code = 1 if lock.release(client.number) else 3
        elif message.payload or lock.holder == client.number:
            code = 3
        else:
            code = 1 if lock.acquire(client.number, message.parameter / 1e3) else 0
        return Message(Kind.ASYNC_LOCK_RESPONSE, code)

    def _lock_info(self, _client: Client, _message: Message) -> Message:
        held = int(self._server.lock.holder is not None)
        return Message(Kind.ASYNC_LOCK_INFO_RESPONSE, held, held)


def _agree_on_size(client: Client, message: Message) -> Message:
    client.largest = int.from_bytes(message.payload, "big") or PAYLOAD_LIMIT
    size = PAYLOAD_LIMIT.to_bytes(8, "big")
    return Message(Kind.ASYNC_MAX_MESSAGE_SIZE_RESPONSE, payload=size)


def _status(client: Client, message: Message) -> Message:
    if message.control & RMT_DELIVERED:
        client.unread = False
    status = client.session.serial_poll(unread=client.unread)
    return Message(Kind.ASYNC_STATUS_RESPONSE, status)


def _begin_clear(client: Client, _message: Message) -> Message:
    client.clearing = True
    return Message(Kind.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE)


def _fatal(code: int, text: bytes) -> bytes:
    return Message(Kind.FATAL_ERROR, code, 0, text).packed()


def _unknown() -> bytes:
    return Message(Kind.ERROR, 1, 0, b"unrecognized message type").packed()
