r"""A SCPI instrument without a link: program messages in, response messages out.

The instrument is a table of headers and what each does. A `ScpiSession` is one client's line to
it with its own input buffer and output queue; status registers belong to the instrument. Links
that send what is ready (a raw socket) call `feed`; links on which the controller asks for data
(USB, VXI-11) call `receive` and `read`, and there the query errors -410 and -420 can happen.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator, Mapping
from typing import Final

from sim_instruments.scpi_syntax import header_pattern, message_units, number
from sim_instruments.status import ScpiError, Status

INPUT_LIMIT: Final = 65_536

Handler = Callable[[tuple[int, ...], tuple[str, ...]], str | bytes | None]
"""Takes numeric suffixes (1 where left out) and parameters; returns a response or None."""


class ScpiInstrument:
    """Status, common commands and the command table of one instrument.

    Parameters
    ----------
    identity
        Answer to ``*IDN?``.
    commands
        Header as the manual writes it (`scpi_syntax.header_pattern`) and its handler.
    reset
        Called by ``*RST``.
    """

    def __init__(
        self, identity: str, commands: Mapping[str, Handler], reset: Callable[[], None]
    ) -> None:
        self.status = Status()
        self.lock = threading.RLock()
        self._reset = reset
        table = {**self._common(identity), **commands}
        self._table: list[tuple[re.Pattern[str], Handler]] = [
            (header_pattern(header), handler) for header, handler in table.items()
        ]

    def power_cycle(self) -> None:
        """Lose settings, enables and errors, as off and on again does; sets the power-on bit."""
        with self.lock:
            self._reset()
            self.status.power_on()

    def execute(self, header: str, parameters: tuple[str, ...]) -> str | bytes | None:
        """Carry out one unit; ScpiError when it cannot be done."""
        for pattern, handler in self._table:
            found = pattern.fullmatch(header)
            if found:
                suffixes = tuple(int(digits) if digits else 1 for digits in found.groups())
                return handler(suffixes, parameters)
        raise ScpiError(-113)

    def _common(self, identity: str) -> dict[str, Handler]:
        status = self.status

        def set_event_enable(value: int) -> None:
            status.event_enable = value

        def set_service_enable(value: int) -> None:
            status.service_enable = value & ~64

        return {
            "*IDN?": asks(lambda: identity),
            "*RST": does(self._reset),
            "*CLS": does(status.clear),
            "*ESE": register(set_event_enable),
            "*ESE?": asks(lambda: str(status.event_enable)),
            "*ESR?": asks(lambda: str(status.take_events())),
            "*SRE": register(set_service_enable),
            "*SRE?": asks(lambda: str(status.service_enable)),
            "*OPC": does(status.complete),
            "*OPC?": asks(lambda: "1"),
            "*WAI": does(lambda: None),
            "*TST?": asks(lambda: "0"),
            "SYSTem:ERRor[:NEXT]?": asks(status.next_error),
            "SYSTem:VERSion?": asks(lambda: "1999.0"),
        }


def none_given(parameters: tuple[str, ...]) -> None:
    """Refuse parameters where none belong."""
    if parameters:
        raise ScpiError(-108)


def one_given(parameters: tuple[str, ...]) -> str:
    """Return the one parameter that a command takes."""
    if not parameters:
        raise ScpiError(-109)
    if len(parameters) > 1:
        raise ScpiError(-108)
    return parameters[0]


def asks(answer: Callable[[], str]) -> Handler:
    """Return the handler of a query without parameters."""

    def handler(_suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> str:
        none_given(parameters)
        return answer()

    return handler


def does(action: Callable[[], None]) -> Handler:
    """Return the handler of a command without parameters."""

    def handler(_suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        none_given(parameters)
        action()

    return handler


def register(put: Callable[[int], None]) -> Handler:
    """Return the handler of a command that sets an eight-bit register."""

    def handler(_suffixes: tuple[int, ...], parameters: tuple[str, ...]) -> None:
        put(round(number(one_given(parameters), 0, 255)))

    return handler


class ScpiSession:
    """One client's line to an instrument."""

    def __init__(self, instrument: ScpiInstrument) -> None:
        self._instrument = instrument
        self._input = b""
        self._output = b""
        self._responses: list[bytes] = []

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return every response that is ready (a link that sends at once)."""
        sent = []
        for message in self._messages(data):
            self._run(message)
            sent.append(self._output)
            self._output = b""
        return b"".join(sent)

    def receive(self, data: bytes) -> None:
        """Take bytes; a response waits until it is read."""
        for message in self._messages(data):
            if self._output:
                self._output = b""
                self._instrument.status.report(-410)
            self._run(message)

    def read(self) -> bytes:
        """Return the waiting response; empty and -420 when nothing was asked."""
        output, self._output = self._output, b""
        if not output:
            self._instrument.status.report(-420)
        return output

    def end(self) -> None:
        """Take the link's own mark of a message's end, which does instead of a line feed."""
        if self._input:
            self.receive(b"\n")

    def interrupt(self) -> None:
        """Note that a new message comes while the link still holds some of a response: -410."""
        self._instrument.status.report(-410)

    def clear(self) -> None:
        """Device clear: both buffers are emptied, status stays (IEEE 488.2, 5.8)."""
        self._input = self._output = b""

    def serial_poll(self, *, unread: bool = False) -> int:
        """Return the status byte without a message, as a link's own status request does.

        `unread` says that the link still holds some of a response.
        """
        return self._instrument.status.byte(message_available=bool(self._output) or unread)

    def _messages(self, data: bytes) -> Iterator[bytes]:
        """Yield the messages that `data` completes; what is left waits for the next bytes."""
        *whole, rest = (self._input + data).split(b"\n")
        self._input = rest
        yield from whole
        if len(rest) > INPUT_LIMIT:
            self._input = b""
            self._instrument.status.report(-363)

    def _run(self, message: bytes) -> None:
        """Execute one message; what was answered before an error is still sent."""
        with self._instrument.lock:
            self._responses = []
            try:
                text = message.decode("ascii").strip()
                for header, parameters in message_units(text) if text else ():
                    self._unit(header, parameters)
            except UnicodeDecodeError:
                self._instrument.status.report(-101)
            except ScpiError as error:
                self._instrument.status.report(error.code)
            if self._responses:
                self._output = b";".join(self._responses) + b"\n"

    def _unit(self, header: str, parameters: tuple[str, ...]) -> None:
        """Execute one unit; an execution error leaves the rest of the message standing."""
        try:
            if header.upper() == "*STB?":
                none_given(parameters)
                waiting = bool(self._responses)
                answer: str | bytes | None = str(
                    self._instrument.status.byte(message_available=waiting)
                )
            else:
                answer = self._instrument.execute(header, parameters)
        except ScpiError as error:
            if -200 < error.code <= -100:
                raise
            self._instrument.status.report(error.code)
            return
        if answer is not None:
            self._responses.append(answer.encode("ascii") if isinstance(answer, str) else answer)
