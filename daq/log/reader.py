"""Read a log back: its runs, its rows, its readings as a table, and whether its chain holds."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from daq.errors import InputError, LogDamaged
from daq.journal import RESUMED
from daq.log.entry import ANCHOR, Body, Entry, Kind, chain
from daq.log.store import connect_for_reading, told

if TYPE_CHECKING:
    import pandas as pd

_LARGEST: Final = 2**63 - 1
"""The largest number that SQLite holds."""

_COLUMNS = "seq, run, kind, key, utc_ns, mono_ns, body, digest"


@dataclass(frozen=True, slots=True)
class Verification:
    """What a check of the chain found.

    Attributes
    ----------
    rows
        How many rows were checked, all of them good.
    digest
        Digest of the last row, hex; the anchor's for an empty log.
    """

    rows: int
    digest: str


@dataclass(frozen=True, slots=True)
class RunSummary:
    """One run, from its first and last rows.

    Attributes
    ----------
    run
        Its number.
    started, ended
        Bodies of the rows that opened and closed it; `ended` is None for a run that was cut off,
        also after it had ended once and was taken up again. What was written late (an instrument
        that was away, a screen that was paired) does not undo an end.
    started_utc_ns, last_utc_ns
        Calendar time of its first and its last row, ns.
    rows, readings
        How many rows, and how many of them readings.
    digest
        Digest of its last row, hex.
    """

    run: int
    started: Body
    ended: Body | None
    started_utc_ns: int
    last_utc_ns: int
    rows: int
    readings: int
    digest: str


class LogReader:
    """A log opened for reading only; other processes may write meanwhile.

    Raises
    ------
    InputError
        There is no such file.
    LogError
        It is no log, or of a newer format.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._connection = connect_for_reading(path)

    def close(self) -> None:
        """Close; harmless when called twice."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def entries(
        self, *, run: int | None = None, kind: Kind | None = None, after: int = 0
    ) -> Iterator[Entry]:
        """Yield rows in order, optionally of one run, one kind, or after row number `after`.

        Raises
        ------
        LogDamaged
            A row cannot be decoded.
        """
        where, values = ["seq > ?"], [after]
        if run is not None:
            where.append("run = ?")
            values.append(run)
        query = f"SELECT {_COLUMNS} FROM entries WHERE {' AND '.join(where)}"  # noqa: S608 - constants
        arguments: tuple[object, ...] = tuple(values)
        if kind is not None:
            query, arguments = f"{query} AND kind = ?", (*arguments, str(kind))
        with told(self._path, "reading"):
            for row in self._connection.execute(f"{query} ORDER BY seq", arguments):
                yield _entry(row, self._path)

    def runs(self) -> list[RunSummary]:
        """Return all runs, oldest first."""
        return [self.run(number) for number in self.run_numbers()]

    def run_numbers(self) -> list[int]:
        """Return the numbers of all runs that began, ascending."""
        with told(self._path, "listing runs"):
            rows = self._connection.execute(
                "SELECT DISTINCT run FROM entries WHERE kind = ? ORDER BY run",
                (str(Kind.RUN_STARTED),),
            )
            return [int(row[0]) for row in rows]

    def run(self, number: int) -> RunSummary:
        """Return one run.

        Raises
        ------
        InputError
            There is no such run; the message lists those that are there.
        """
        if not 0 <= number <= _LARGEST:
            raise self._no_run(number)
        with told(self._path, "reading a run"):
            started = self._one(number, Kind.RUN_STARTED)
            newest, ended = self._last(number), self._end_of(number)
            rows, readings = self._connection.execute(
                "SELECT count(*), sum(kind = 'reading') FROM entries WHERE run = ?", (number,)
            ).fetchone()
        if started is None or newest is None:
            raise self._no_run(number)
        return RunSummary(
            run=number,
            started=started.body,
            ended=ended,
            started_utc_ns=started.utc_ns,
            last_utc_ns=newest.utc_ns,
            rows=int(rows),
            readings=int(readings or 0),
            digest=newest.digest.hex(),
        )

    def verify(self, *, digest: str | None = None) -> Verification:
        """Check every row against the chain.

        Parameters
        ----------
        digest
            A digest from a printed record, hex, at least 8 figures: it must be in the log.

        Raises
        ------
        LogDamaged
            The first row that does not fit, or that the digest is not there.
        """
        previous, expected, found = ANCHOR, 1, digest is None
        with told(self._path, "checking the chain"):
            for row in self._connection.execute(f"SELECT {_COLUMNS} FROM entries ORDER BY seq"):  # noqa: S608 - constants
                previous = _checked(row, previous, expected, self._path)
                found = found or previous.hex().startswith((digest or "").lower())
                expected += 1
        if not found:
            raise LogDamaged(
                f"{self._path}: no row has the digest {digest}; the log is not the one that the "
                "record was made from, or rows were cut off its end.",
                hint="look for an older copy of the log.",
            )
        return Verification(rows=expected - 1, digest=previous.hex())

    def readings(self) -> pd.DataFrame:
        """Return all readings as a table, one row each, oldest first.

        Returns
        -------
        pandas.DataFrame
            Columns: ``seq``, ``run``, ``step`` (the step of the procedure), ``time`` (UTC),
            ``mono_ns``, ``quantity``, ``point``, ``value`` (SI), ``unit``, ``u`` (standard
            uncertainty, SI), ``source``, ``quality``, ``raw``.
        """
        import pandas as pd

        rows = [
            {
                "seq": e.seq,
                "run": e.run,
                "step": e.key,
                "time": e.utc_ns,
                "mono_ns": e.mono_ns,
                **{name: e.body[name] for name in _READING_FIELDS},
            }
            for e in self.entries(kind=Kind.READING)
        ]
        columns = ["seq", "run", "step", "time", "mono_ns", *_READING_FIELDS]
        table = pd.DataFrame(rows, columns=columns)
        table["time"] = pd.to_datetime(table["time"], unit="ns", utc=True)
        table["value"] = table["value"].astype("float64")
        return table

    def _no_run(self, number: int) -> InputError:
        known = ", ".join(str(n) for n in self.run_numbers()) or "none"
        return InputError(
            f"{self._path}: there is no run {number} in this log (runs: {known}).",
            hint="`trimbench runs` lists them.",
        )

    def _end_of(self, run: int) -> Body | None:
        """Return what the last end of a run says, unless it was taken up after that."""
        end = self._last(run, Kind.RUN_ENDED)
        if end is None:
            return None
        later = self.entries(run=run, kind=Kind.EVENT, after=end.seq)
        return None if any(entry.body.get("event") == RESUMED for entry in later) else end.body

    def _last(self, run: int, kind: Kind | None = None) -> Entry | None:
        """Return the last row of a run, or its last of one kind."""
        query = (
            f"SELECT {_COLUMNS} FROM entries WHERE run = ? AND kind = coalesce(?, kind) "  # noqa: S608 - constants
            "ORDER BY seq DESC LIMIT 1"
        )
        row = self._connection.execute(query, (run, None if kind is None else str(kind))).fetchone()
        return None if row is None else _entry(row, self._path)

    def _one(self, run: int, kind: Kind) -> Entry | None:
        return next(self.entries(run=run, kind=kind), None)


_READING_FIELDS = ("quantity", "point", "value", "unit", "u", "source", "quality", "raw")


def _entry(row: sqlite3.Row | tuple[object, ...], path: Path) -> Entry:
    seq, run, kind, key, utc_ns, mono_ns, body, digest = row
    try:
        return Entry(
            seq=int(str(seq)),
            run=int(str(run)),
            kind=Kind(str(kind)),
            key=str(key),
            utc_ns=int(str(utc_ns)),
            mono_ns=int(str(mono_ns)),
            body=json.loads(str(body)),
            digest=digest if isinstance(digest, bytes) else b"",
        )
    except ValueError as error:
        raise LogDamaged(f"{path}: row {seq} cannot be decoded ({error}).") from error


def _checked(
    row: sqlite3.Row | tuple[object, ...], previous: bytes, expected: int, path: Path
) -> bytes:
    entry = _entry(row, path)
    fields = (entry.seq, entry.run, str(entry.kind), entry.key, entry.utc_ns, entry.mono_ns)
    if entry.seq != expected or chain(previous, fields, str(row[6])) != entry.digest:
        raise LogDamaged(
            f"{path}: the chain breaks at row {expected}: it, or a row before it, was edited, "
            "removed or moved.",
            hint="keep the file as evidence; rows before that one are sound.",
        )
    return entry.digest
