"""Everything that can go wrong, as a technician has to hear it.

    TrimbenchError                      exit code
    ├── InputError                      2   what was given cannot be used
    │   ├── StationFileError                a station file: file, line, key, what was expected
    │   ├── ProfileError                    an instrument profile: likewise
    │   ├── UnitError                       a quantity of the wrong kind, or no quantity
    │   └── SamplesError                    samples that cannot be measured, and why
    ├── BenchError                      3   an instrument or its link
    │   ├── LinkError
    │   │   ├── LinkTimeout                 no complete answer before the deadline
    │   │   ├── LinkLost                    the far end is gone
    │   │   ├── LinkRefused                 nobody there, or somebody else holds it
    │   │   └── LinkUnsupported             this link cannot do that
    │   ├── AnswerError                     an answer arrived that is not one
    │   ├── InstrumentError                 the instrument reported an error of its own
    │   └── IdentityError                   another instrument answers at this address
    ├── LogError                        4   the log on disk
    │   ├── LogBusy                         another run holds it
    │   ├── LogFull                         the disk is full
    │   ├── LogDamaged                      the chain does not hold
    │   └── JournalMismatch                 the journal belongs to another procedure or station
    ├── Refused                         5   the procedure will not begin, or will not go on
    └── Aborted                         6   the technician stopped it

Foreign exceptions (pyvisa, pyserial, sqlite3, OSError) are mapped to these at one boundary each
and chained with ``from``, so that nothing above ever sees them.
"""

from __future__ import annotations

from typing import ClassVar


class TrimbenchError(Exception):
    """Base of all errors that a technician may see.

    Parameters
    ----------
    message
        What happened, in one or two sentences.
    hint
        What to try next; empty if there is nothing sensible to say.
    """

    exit_code: ClassVar[int] = 1

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.__dict__.copy()))

    def __str__(self) -> str:
        return f"{self.message} Try: {self.hint}" if self.hint else self.message

    def details(self) -> dict[str, object]:
        """Return what a program needs, for ``--json``."""
        return {
            "kind": type(self).__name__,
            **{k: _plain(v) for k, v in self.__dict__.items() if v not in ("", None, b"")},
        }


def _plain(value: object) -> object:
    return value.decode("latin-1") if isinstance(value, bytes) else value


def _rebuild(cls: type[TrimbenchError], state: dict[str, object]) -> TrimbenchError:
    error = cls.__new__(cls)
    Exception.__init__(error, state["message"])
    error.__dict__.update(state)
    return error


class InputError(TrimbenchError):
    """What the technician gave cannot be used."""

    exit_code = 2


class _FileError(InputError):
    """A file that people write: says file, line and key."""

    def __init__(
        self,
        message: str,
        *,
        file: str = "",
        line: int | None = None,
        key: str = "",
        hint: str = "",
    ) -> None:
        super().__init__(message, hint=hint)
        self.file = file
        self.line = line
        self.key = key

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        where = ": ".join(part for part in (place, self.key) if part)
        return f"{where}: {super().__str__()}" if where else super().__str__()


class StationFileError(_FileError):
    """A station file that is missing, malformed or contradicts itself."""


class ProfileError(_FileError):
    """An instrument profile that is missing, malformed or contradicts itself."""


class UnitError(InputError):
    """A quantity whose unit is of the wrong kind, or that is not a quantity at all."""


class SamplesError(InputError):
    """Samples that cannot be measured, and why."""


class BenchError(TrimbenchError):
    """An instrument or its link misbehaved.

    Parameters
    ----------
    instrument
        Alias and resource, as the station file names them.
    sent
        The last bytes sent before the failure.
    received
        The bytes that did arrive; never thrown away.
    """

    exit_code = 3

    def __init__(
        self,
        message: str,
        *,
        instrument: str = "",
        sent: bytes = b"",
        received: bytes = b"",
        hint: str = "",
    ) -> None:
        super().__init__(message, hint=hint)
        self.instrument = instrument
        self.sent = sent
        self.received = received

    def __str__(self) -> str:
        parts = [f"{self.instrument}: {self.message}" if self.instrument else self.message]
        if self.sent:
            parts.append(f"Sent {show(self.sent)}.")
        if self.received or self.sent:
            parts.append(f"Received {show(self.received) if self.received else 'nothing'}.")
        if self.hint:
            parts.append(f"Try: {self.hint}")
        return " ".join(parts)


def show(data: bytes, limit: int = 80) -> str:
    r"""Return `data` as printable text in quotes, cut at `limit` bytes: ``'VOLT?\n'``."""
    text = repr(bytes(data[:limit]).decode("latin-1"))
    return text if len(data) <= limit else f"{text} (and {len(data) - limit} bytes more)"


class LinkError(BenchError):
    """The path to the instrument failed."""


class LinkTimeout(LinkError):
    """No complete answer before the deadline; the link is dirty until it is resynchronised."""


class LinkLost(LinkError):
    """The far end closed, was unplugged or lost its power."""


class LinkRefused(LinkError):
    """Nobody listens there, or somebody else holds the instrument."""


class LinkUnsupported(LinkError):
    """The kind of link, or the machine, cannot do what was asked."""


class AnswerError(BenchError):
    """Bytes arrived, but they are no answer to the question."""


class InstrumentError(BenchError):
    """The instrument reported an error of its own (SCPI error queue, error reply)."""

    def __init__(
        self,
        message: str,
        *,
        code: int | None = None,
        instrument: str = "",
        sent: bytes = b"",
        received: bytes = b"",
        hint: str = "",
    ) -> None:
        super().__init__(message, instrument=instrument, sent=sent, received=received, hint=hint)
        self.code = code


class IdentityError(BenchError):
    """Another instrument answers at this address than the station file or the run expects."""


class LogError(TrimbenchError):
    """The log on disk could not be written or read."""

    exit_code = 4


class LogBusy(LogError):
    """Another run holds the log."""


class LogFull(LogError):
    """The disk is full; everything shown so far is kept."""


class LogDamaged(LogError):
    """A row was edited, removed or reordered: the chain of digests does not hold."""


class JournalMismatch(LogError):
    """The journal belongs to another version of the procedure or another station file."""


class Refused(TrimbenchError):
    """The procedure will not begin, or will not go on; the reason is the message."""

    exit_code = 5


class Aborted(TrimbenchError):
    """The technician stopped the run."""

    exit_code = 6
