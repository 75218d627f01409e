"""IEEE 488.2 status reporting and the SCPI error queue of one instrument."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from enum import IntFlag
from typing import Final

QUEUE_LENGTH: Final = 20

TEXTS: Final = {
    0: "No error",
    -101: "Invalid character",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -310: "System error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
}
"""Standard numbers and texts of SCPI-1999, volume 2, chapter 21.8 (from memory)."""


class Event(IntFlag):
    """Standard event status register, IEEE 488.2 section 11.5.1."""

    OPERATION_COMPLETE = 1
    QUERY_ERROR = 4
    DEVICE_ERROR = 8
    EXECUTION_ERROR = 16
    COMMAND_ERROR = 32
    POWER_ON = 128


class Summary(IntFlag):
    """Status byte, IEEE 488.2 section 11.2; bit 2 is SCPI's error queue summary."""

    ERROR_QUEUE = 4
    MESSAGE_AVAILABLE = 16
    EVENT_SUMMARY = 32
    MASTER_SUMMARY = 64


class ScpiError(Exception):
    """A command cannot be carried out; `code` is one of `TEXTS`."""

    def __init__(self, code: int) -> None:
        super().__init__(f'{code},"{TEXTS[code]}"')
        self.code = code


def event_of(code: int) -> Event:
    """Return the event bit that an error of this number sets (SCPI-1999, 21.8.1)."""
    by_hundred = {
        1: Event.COMMAND_ERROR,
        2: Event.EXECUTION_ERROR,
        3: Event.DEVICE_ERROR,
        4: Event.QUERY_ERROR,
    }
    return by_hundred[-code // 100]


class Status:
    """Event and enable registers and the error queue.

    Attributes
    ----------
    event_enable, service_enable
        ``*ESE`` and ``*SRE``, 0 to 255; bit 6 of the latter is always 0.
    """

    def __init__(self) -> None:
        self._queue: deque[int] = deque()
        self.power_on()

    def power_on(self) -> None:
        """Begin with nothing but the power-on event (IEEE 488.2, 11.5.1.1.2)."""
        self._events = Event.POWER_ON
        self._queue.clear()
        self._awaited: Callable[[], bool] | None = None
        self.event_enable = 0
        self.service_enable = 0

    def report(self, code: int) -> None:
        """Queue an error and set its event bit; the last place of a full queue says overflow."""
        self._events |= event_of(code)
        if len(self._queue) < QUEUE_LENGTH:
            self._queue.append(code)
        else:
            self._queue[-1] = -350
            self._events |= Event.DEVICE_ERROR

    def next_error(self) -> str:
        """Take the oldest error off the queue."""
        code = self._queue.popleft() if self._queue else 0
        return f'{code},"{TEXTS[code]}"'

    def complete(self) -> None:
        """Note that operations are complete (``*OPC``)."""
        self._events |= Event.OPERATION_COMPLETE

    def complete_when(self, done: Callable[[], bool]) -> None:
        """Note that operations are complete as soon as `done` says so (``*OPC``)."""
        self._awaited = done

    def forget_completion(self) -> None:
        """Wait no longer for what ``*OPC`` asked for (``*RST``, ``*CLS``)."""
        self._awaited = None

    def clear(self) -> None:
        """``*CLS``: events and error queue; enables stay (IEEE 488.2 section 10.3)."""
        self.forget_completion()
        self._events = Event(0)
        self._queue.clear()

    def take_events(self) -> int:
        """``*ESR?``: return the events and clear them."""
        self._settle()
        events, self._events = self._events, Event(0)
        return int(events)

    def byte(self, *, message_available: bool) -> int:
        """``*STB?``: the status byte with the master summary in bit 6; reading clears nothing."""
        self._settle()
        byte = Summary(0)
        if self._queue:
            byte |= Summary.ERROR_QUEUE
        if message_available:
            byte |= Summary.MESSAGE_AVAILABLE
        if self._events & self.event_enable:
            byte |= Summary.EVENT_SUMMARY
        if byte & self.service_enable:
            byte |= Summary.MASTER_SUMMARY
        return int(byte)

    def _settle(self) -> None:
        if self._awaited is not None and self._awaited():
            self._awaited = None
            self.complete()
