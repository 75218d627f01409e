"""VXI-11, the TCP/IP instrument protocol (VXIbus Consortium, revision 1.0), without a socket.

`Vxi11Device` is the instrument's side with its links; `CoreProgram` is one client's core channel,
`AbortProgram` any client's abort channel. Service requests and the interrupt channel are answered
with "operation not supported". Numbers of procedures and errors: VXI-11, tables B.1 and B.2.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable
from enum import IntEnum, IntFlag
from typing import Final

from sim_instruments.instrument_lock import InstrumentLock
from sim_instruments.message_line import Aborted, MessageLine
from sim_instruments.rpc import NoProcedure
from sim_instruments.sessions import MessageSession
from sim_instruments.xdr import Unpacker, packed

CORE_PROGRAM: Final = 0x0607AF
ABORT_PROGRAM: Final = 0x0607B0
VERSION: Final = 1
DEVICE_NAME: Final = "inst0"
LARGEST_WRITE: Final = 16_384
LINKS: Final = 16


class Error(IntEnum):
    """``Device_ErrorCode``."""

    NONE = 0
    NOT_ACCESSIBLE = 3
    INVALID_LINK = 4
    PARAMETER = 5
    NOT_SUPPORTED = 8
    OUT_OF_RESOURCES = 9
    LOCKED_BY_ANOTHER = 11
    NO_LOCK_HELD = 12
    IO_TIMEOUT = 15
    ABORT = 23


class Flag(IntFlag):
    """``Device_Flags``."""

    WAIT_LOCK = 1
    END = 8
    TERM_CHAR_SET = 128


class Reason(IntFlag):
    """Why a read ended."""

    REQUESTED = 1
    TERM_CHAR = 2
    END = 4


class Vxi11Device:
    """An instrument's links and the lock that one of them may hold.

    Parameters
    ----------
    make_session
        Called once a link.
    """

    def __init__(self, make_session: Callable[[], MessageSession]) -> None:
        self._make_session = make_session
        self._lines: dict[int, MessageLine] = {}
        self._numbers = itertools.count(1)
        self._guard = threading.Lock()
        self.lock = InstrumentLock()

    def open(self) -> int | None:
        """Return a new link's number, or None when there are too many."""
        if len(self._lines) >= LINKS:
            return None
        line = MessageLine(self._make_session())
        with self._guard:
            number = next(self._numbers)
            self._lines[number] = line
        return number

    def line(self, link: int) -> MessageLine | None:
        """Return a link's line, if it is open."""
        return self._lines.get(link)

    def destroy(self, link: int) -> bool:
        """Close a link and give its lock back; whether there was one."""
        with self._guard:
            line = self._lines.pop(link, None)
        self.lock.release(link)
        if line is not None:
            line.close()
        return line is not None

    def close(self) -> None:
        """Close every link."""
        self.lock.close()
        for link in list(self._lines):
            self.destroy(link)


class AbortProgram:
    """``DEVICE_ASYNC``: abandons a call that a link waits in."""

    number = ABORT_PROGRAM
    version = VERSION

    def __init__(self, device: Vxi11Device) -> None:
        self._device = device

    def call(self, procedure: int, arguments: Unpacker) -> bytes:
        """See `rpc.Program`."""
        if procedure != 1:
            raise NoProcedure
        line = self._device.line(arguments.integer())
        if line is None:
            return packed(Error.INVALID_LINK)
        line.abort()
        return packed(Error.NONE)


class CoreProgram:
    """``DEVICE_CORE`` for one client; its links end with its connection.

    Parameters
    ----------
    device
        The instrument.
    abort_port
        Where the abort channel listens.
    """

    number = CORE_PROGRAM
    version = VERSION

    def __init__(self, device: Vxi11Device, abort_port: int) -> None:
        self._device = device
        self._abort_port = abort_port
        self._links: set[int] = set()
        self._procedures: dict[int, Callable[[Unpacker], bytes]] = {
            10: self._create_link,
            11: self._write,
            12: self._read,
            13: self._read_status,
            14: self._generic(lambda line: line.write(b"*TRG\n", end=True)),
            15: self._generic(MessageLine.clear),
            16: self._generic(lambda _line: None),  # remote: there is no panel to lock
            17: self._generic(lambda _line: None),  # local
            18: self._lock,
            19: self._unlock,
            20: lambda _arguments: packed(Error.NOT_SUPPORTED),  # enable_srq
            22: lambda _arguments: packed(Error.NOT_SUPPORTED, b""),  # docmd
            23: self._destroy_link,
            25: lambda _arguments: packed(Error.NOT_SUPPORTED),  # create_intr_chan
            26: lambda _arguments: packed(Error.NOT_SUPPORTED),  # destroy_intr_chan
        }

    def call(self, procedure: int, arguments: Unpacker) -> bytes:
        """See `rpc.Program`."""
        if procedure not in self._procedures:
            raise NoProcedure
        return self._procedures[procedure](arguments)

    def hang_up(self) -> None:
        """Destroy the links that the client left behind (VXI-11, B.4.5)."""
        for link in self._links:
            self._device.destroy(link)

    def _create_link(self, arguments: Unpacker) -> bytes:
        _client, lock_it, lock_ms = (arguments.integer() for _ in range(3))
        name = arguments.opaque()
        if name.decode("latin-1").lower() != DEVICE_NAME:
            return packed(Error.NOT_ACCESSIBLE, 0, 0, 0)
        link = self._device.open()
        if link is None:
            return packed(Error.OUT_OF_RESOURCES, 0, 0, 0)
        if lock_it and not self._device.lock.acquire(link, lock_ms / 1e3):
            self._device.destroy(link)
            return packed(Error.LOCKED_BY_ANOTHER, 0, 0, 0)
        self._links.add(link)
        return packed(Error.NONE, link, self._abort_port, LARGEST_WRITE)

    def _write(self, arguments: Unpacker) -> bytes:
        link, _io_ms, lock_ms, flags = (arguments.integer() for _ in range(4))
        data = arguments.opaque()
        line, error = self._use(link, flags, lock_ms)
        if line is None:
            return packed(error, 0)
        if len(data) > LARGEST_WRITE:
            return packed(Error.PARAMETER, 0)
        line.write(data, end=bool(flags & Flag.END))
        return packed(Error.NONE, len(data))

    def _read(self, arguments: Unpacker) -> bytes:
        link, size, io_ms, lock_ms, flags, term = (arguments.integer() for _ in range(6))
        line, error = self._use(link, flags, lock_ms)
        if line is None:
            return packed(error, 0, b"")
        wanted = term & 0xFF if flags & Flag.TERM_CHAR_SET else None
        try:
            piece = line.read(size, io_ms / 1e3, wanted)
        except Aborted:
            return packed(Error.ABORT, 0, b"")
        if piece is None:
            return packed(Error.IO_TIMEOUT, 0, b"")
        reason = (
            (Reason.REQUESTED if piece.requested else 0)
            | (Reason.TERM_CHAR if piece.terminated else 0)
            | (Reason.END if piece.end else 0)
        )
        return packed(Error.NONE, reason, piece.data)

    def _read_status(self, arguments: Unpacker) -> bytes:
        link, flags, lock_ms, _io_ms = (arguments.integer() for _ in range(4))
        line, error = self._use(link, flags, lock_ms)
        return packed(error, 0 if line is None else line.serial_poll())

    def _generic(self, act: Callable[[MessageLine], None]) -> Callable[[Unpacker], bytes]:
        def procedure(arguments: Unpacker) -> bytes:
            link, flags, lock_ms, _io_ms = (arguments.integer() for _ in range(4))
            line, error = self._use(link, flags, lock_ms)
            if line is not None:
                act(line)
            return packed(error)

        return procedure

    def _lock(self, arguments: Unpacker) -> bytes:
        link, flags, lock_ms = (arguments.integer() for _ in range(3))
        if self._device.line(link) is None:
            return packed(Error.INVALID_LINK)
        got = self._device.lock.acquire(link, _patience_s(flags, lock_ms))
        return packed(Error.NONE if got else Error.LOCKED_BY_ANOTHER)

    def _unlock(self, arguments: Unpacker) -> bytes:
        link = arguments.integer()
        if self._device.line(link) is None:
            return packed(Error.INVALID_LINK)
        return packed(Error.NONE if self._device.lock.release(link) else Error.NO_LOCK_HELD)

    def _destroy_link(self, arguments: Unpacker) -> bytes:
        link = arguments.integer()
        self._links.discard(link)
        return packed(Error.NONE if self._device.destroy(link) else Error.INVALID_LINK)

    def _use(self, link: int, flags: int, lock_ms: int) -> tuple[MessageLine | None, Error]:
        """Return the line of a link that may use the instrument now, or why it may not."""
        line = self._device.line(link)
        if line is None:
            return None, Error.INVALID_LINK
        if not self._device.lock.passes(link, _patience_s(flags, lock_ms)):
            return None, Error.LOCKED_BY_ANOTHER
        return line, Error.NONE


def _patience_s(flags: int, lock_ms: int) -> float:
    return lock_ms / 1e3 if flags & Flag.WAIT_LOCK else 0.0
