"""Questions and answers over a link, such that no answer is ever given to another question.

From the moment a question is sent until its whole answer is in, the link is *dirty*. Whatever
interrupts that (a timeout, an error, Ctrl-C) leaves it so, and before the next question it is
drained, the identification is asked, and everything up to the right identity is thrown away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NoReturn, Protocol, runtime_checkable

from daq.clock import Clock
from daq.errors import AnswerError, LinkError, LinkLost, LinkTimeout
from daq.link import Link
from daq.scpi import decode_text
from daq.scpi_messages import PADDING, MessageReader, NeedData
from drivers.deadline import Deadline
from drivers.links.drain import drain
from drivers.transcript import Transcript

_SILENT: Final = "check that the instrument is on, not busy, and set to remote control."
_UNENDED: Final = "check read_terminator in the profile, and the baud rate of a serial line."


@dataclass(frozen=True, slots=True)
class MessageFormat:
    """How messages look on the wire.

    Attributes
    ----------
    write_terminator
        Sent behind each command.
    read_terminator
        Ends each answer where the link marks no end.
    encoding
        Of text; bytes that do not fit never raise.
    quiet_s
        Silence, seconds, after which a line counts as drained.
    """

    write_terminator: bytes
    read_terminator: bytes
    encoding: str = "latin-1"
    quiet_s: float = 0.05


@runtime_checkable
class Glances(Protocol):
    """A link that can tell at little cost that nothing waits to be read."""

    def idle(self) -> bool:
        """Whether nothing has arrived and the far end has not closed."""


class Conversation:
    """Asks one question at a time. Used by one thread.

    Parameters
    ----------
    link
        An open link.
    wire
        How messages look.
    clock
        For deadlines.
    instrument
        Alias and resource, for messages.
    transcript
        Where each message is noted.
    recovery_s
        Limit, seconds, for getting a dirty link clean again.
    """

    def __init__(
        self,
        link: Link,
        wire: MessageFormat,
        *,
        clock: Clock,
        instrument: str,
        transcript: Transcript,
        recovery_s: float = 2.0,
    ) -> None:
        self._link = link
        self._glances = link if isinstance(link, Glances) else None
        self._wire = wire
        self._clock = clock
        self._instrument = instrument
        self._transcript = transcript
        self._recovery_s = recovery_s
        self._readers = {
            blocks: MessageReader(wire.read_terminator, marks_end=link.marks_end, blocks=blocks)
            for blocks in (False, True)
        }
        self._dirty = True  # a banner, noise or the last client's answers may be on the line
        self._identification = ""
        self._identity = b""
        self._after_recovery = ""
        self.hopeless = False
        """The link could not be made clean: only reopening helps."""

    @property
    def instrument(self) -> str:
        """Alias and resource, for messages."""
        return self._instrument

    @property
    def dirty(self) -> bool:
        """Whether an answer to an earlier question may still come."""
        return self._dirty

    @property
    def marks_end(self) -> bool:
        """Whether the link marks the end of each answer."""
        return self._link.marks_end

    @property
    def encoding(self) -> str:
        """Encoding of text."""
        return self._wire.encoding

    def identify(self, query: str, timeout_s: float, *, after_recovery: str = "") -> str:
        """Ask who is there and remember it: a dirty link is clean when the same answer comes.

        Parameters
        ----------
        query
            The identification query.
        timeout_s
            Limit, seconds.
        after_recovery
            Command sent after each recovery, such as ``*CLS``; it must have no answer.
        """
        answer = self.ask(query, timeout_s)
        self._identification, self._identity = query, answer.strip(PADDING)
        self._after_recovery = after_recovery
        return decode_text(answer, self._wire.encoding)

    def tell(self, command: str, timeout_s: float) -> None:
        """Send a command that has no answer.

        Raises
        ------
        LinkTimeout, LinkLost
            It was not taken in time; the far end is gone.
        """
        self._make_clean()
        self._send(command, Deadline(self._clock, timeout_s))
        self._dirty = False

    def ask(self, command: str, timeout_s: float, *, block: bool = False) -> bytes:
        """Send a question and return its answer without the terminator.

        Parameters
        ----------
        command
            Without terminator.
        timeout_s
            Limit, seconds of monotonic time, for the whole answer.
        block
            The answer is an IEEE 488.2 block.

        Raises
        ------
        LinkTimeout, LinkLost, AnswerError
            With the bytes that did arrive.
        """
        self._make_clean()
        deadline = Deadline(self._clock, timeout_s)
        sent = self._send(command, deadline)
        reader = self._reader(blocks=block)
        while True:
            answer = self._next_message(reader, deadline, sent, timeout_s)
            answer = answer.removeprefix(sent)  # an echo on the same line
            words = answer.strip(PADDING)
            if words and words != sent.strip(PADDING):
                break  # neither an empty line nor an echo on a line of its own
        rest = reader.reset().strip(PADDING)
        self._transcript.add("dropped", rest)
        self._dirty = bool(rest)
        return answer

    def hear(self, timeout_s: float, fits: Callable[[str], bool]) -> str:
        """Return the next line that fits, of an instrument that talks on its own.

        Only lines that began after this call count.

        Raises
        ------
        LinkTimeout, LinkLost, AnswerError
            It was silent, it is gone, or it said nothing that fits.
        """
        deadline = Deadline(self._clock, timeout_s)
        reader = self._reader(blocks=False)
        self._drop_waiting(deadline)
        # The first line may have begun before: only what follows its end is whole and new.
        heard = self._next_message(reader, deadline, b"", timeout_s)
        text = ""
        while not text or not fits(text):
            try:
                heard = self._next_message(reader, deadline, b"", timeout_s)
            except LinkTimeout as exc:
                raise AnswerError(
                    f"It talks, but said nothing that fits within {timeout_s:g} s.",
                    instrument=self._instrument,
                    received=heard[:200],
                    hint="check the profile's patterns, and what the instrument is set to say.",
                ) from exc
            text = decode_text(heard, self._wire.encoding)
        return text

    def doubt(self) -> None:
        """Say that the last answer did not fit its question: the link counts as dirty."""
        self._dirty = True

    def close(self) -> None:
        """Close the link."""
        self._link.close()

    def _reader(self, *, blocks: bool) -> MessageReader:
        reader = self._readers[blocks]
        reader.reset()
        return reader

    def _send(self, command: str, deadline: Deadline) -> bytes:
        data = command.encode(self._wire.encoding, "replace") + self._wire.write_terminator
        self._dirty = True
        self._transcript.add("sent", data)
        try:
            self._link.write(data, deadline.remaining_s)
        except LinkError as exc:
            self._raise_with(exc, exc.message, data, b"")
        return data

    def _next_message(
        self, reader: MessageReader, deadline: Deadline, sent: bytes, timeout_s: float
    ) -> bytes:
        try:
            while isinstance(message := reader.next_message(), NeedData):
                left_s = deadline.remaining_s
                if not left_s:
                    raise LinkTimeout("The deadline passed.")  # noqa: TRY301 - completed below
                chunk = self._link.read(left_s)
                reader.receive(chunk.data, chunk.end)
        except LinkTimeout as exc:
            pending = reader.reset()
            said = _no_answer(pending, timeout_s, self._wire)
            self._raise_with(exc, said, sent, pending, hint=_UNENDED if pending else _SILENT)
        except (LinkError, AnswerError) as exc:
            self._raise_with(exc, exc.message, sent, reader.reset() or exc.received)
        self._transcript.add("received", message)
        return message

    def _raise_with(
        self,
        error: LinkError | AnswerError,
        message: str,
        sent: bytes,
        received: bytes,
        *,
        hint: str = "",
    ) -> NoReturn:
        """Raise the same kind of error with everything that is known about the exchange."""
        self._transcript.add("received", received)
        raise type(error)(
            message,
            instrument=self._instrument,
            sent=sent[:200],
            received=received[:4096],
            hint=error.hint or hint,
        ) from error

    def _make_clean(self) -> None:
        if not self._dirty and not self._link.marks_end:
            self._look_for_strays()
        if not self._dirty:
            return
        try:
            self._recover(Deadline(self._clock, self._recovery_s))
        except (LinkError, AnswerError) as exc:
            self.hopeless = True
            self._raise_with(exc, f"The link did not come clean: {exc.message}", b"", exc.received)
        self._dirty = False

    def _look_for_strays(self) -> None:
        if self._glances is not None and self._glances.idle():
            return
        try:
            stray = self._link.read(0.0).data
        except LinkTimeout:
            return
        except LinkLost as exc:
            self._raise_with(exc, exc.message, b"", b"")
        if stray.strip(PADDING):
            self._transcript.add("dropped", stray)
            self._dirty = True

    def _recover(self, deadline: Deadline) -> None:
        if not self._identity:
            self._drain(deadline)
            return
        if self._link.marks_end:
            self._link.clear(deadline.remaining_s)
        self._drain(deadline)
        self._wait_for_identity(deadline)
        self._drain(deadline)
        if self._after_recovery:
            self._send(self._after_recovery, deadline)

    def _drain(self, deadline: Deadline) -> None:
        if self._link.marks_end:
            return  # reading without a question would be an error of its own there
        quiet_s = min(self._wire.quiet_s, self._recovery_s / 4)
        self._transcript.add("dropped", drain(self._link, deadline, quiet_s=quiet_s))

    def _wait_for_identity(self, deadline: Deadline) -> None:
        """Ask who is there; what an instrument answers before that belonged to older questions."""
        sent = self._send(self._identification, deadline)
        reader = self._reader(blocks=False)
        while True:
            answer = self._next_message(reader, deadline, sent, self._recovery_s)
            if answer.removeprefix(sent).strip(PADDING) == self._identity:
                break
        self._transcript.add("dropped", reader.reset())

    def _drop_waiting(self, deadline: Deadline) -> None:
        """Drop what has already arrived, so that what is heard is new."""
        try:
            while not deadline.passed:
                self._link.read(0.0)
        except LinkTimeout:
            return
        except LinkLost as exc:
            self._raise_with(exc, exc.message, b"", b"")


def _no_answer(pending: bytes, timeout_s: float, wire: MessageFormat) -> str:
    if not pending:
        return f"No answer within {timeout_s:g} s."
    return (
        f"No complete answer within {timeout_s:g} s: {len(pending)} bytes came without the "
        f"terminator {wire.read_terminator!r}."
    )
