"""Readings of another day as an instrument: an earlier run's log, or a CSV of readings.

What is replayed says so: the text of each reading begins with ``recorded``, and its times are
those of now, so that the order of the log it goes into holds.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from daq.clock import iso_utc
from daq.errors import InputError, LinkLost
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.reading import QUANTITIES, Quality, Reading
from daq.roles import InstrumentClass
from drivers.profiled import Place
from drivers.standing_in import Recording

_NEEDED: Final = ("quantity", "value")
_LONGEST_WAIT_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Recorded:
    """One reading of another day.

    Attributes
    ----------
    quantity, point, value, u, quality, raw
        As in `daq.reading.Reading`.
    time
        When it was taken, ISO 8601; empty where the file does not say.
    mono_ns
        By the monotonic clock of that day, ns; 0 where the file does not say.
    """

    quantity: str
    point: str
    value: float
    u: float
    quality: Quality
    raw: str
    time: str
    mono_ns: int


def readings_in_log(path: Path, run: int | None, alias: str) -> list[Recorded]:
    """Return an instrument's readings from a log, oldest first.

    Parameters
    ----------
    path
        The log.
    run
        Number of the run; the newest one when None.
    alias
        Whose readings.

    Raises
    ------
    InputError
        There is no such log or run, or the run has no readings of that instrument.
    LogError
        The log cannot be read.
    """
    with LogReader(path) as reader:
        numbers = reader.run_numbers()
        wanted = run if run is not None else max(numbers, default=0)
        entries = list(reader.entries(run=wanted, kind=Kind.READING))
    sources = sorted({str(entry.body["source"]) for entry in entries})
    found = [
        _recorded({**e.body, "time_utc": iso_utc(e.utc_ns), "mono_ns": e.mono_ns})
        for e in entries
        if e.body["source"] == alias
    ]
    if not found:
        raise InputError(
            f"{path}: run {wanted} has no readings of '{alias}' "
            f"(it has readings of: {', '.join(sources) or 'nothing'}).",
            hint="let the entry's alias be the one of that day, and name the run: "
            "RECORDING::file::run.",
        )
    return found


def readings_in_csv(path: Path, alias: str) -> list[Recorded]:
    """Return the readings of a CSV with a head; ``quantity`` and ``value`` (SI) are needed.

    Also looked at: ``u``, ``point``, ``quality``, ``raw``, ``time_utc``, ``mono_ns``, and
    ``source``, by which rows of other instruments are left out.

    Raises
    ------
    InputError
        A column is missing, or a row holds no reading; the line is named.
    """
    found: list[Recorded] = []
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = csv.DictReader(file)
            missing = [name for name in _NEEDED if name not in (rows.fieldnames or ())]
            if missing:
                raise InputError(f"{path}: there is no column {', '.join(missing)}.")
            for row in rows:
                if row.get("source") in (None, "", alias):
                    found.append(_in_line(path, rows.line_num, row))
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path} is no CSV of readings: {error}.") from error
    if not found:
        raise InputError(f"{path} holds no readings of '{alias}'.")
    return found


def _in_line(path: Path, line: int, row: Mapping[str, object]) -> Recorded:
    try:
        return _recorded(row)
    except (ValueError, TypeError) as error:
        raise InputError(f"{path}:{line}: this is no reading: {error}.") from error


def _recorded(row: Mapping[str, object]) -> Recorded:
    quantity = str(row["quantity"])
    if quantity not in QUANTITIES:
        raise ValueError(f"{quantity!r} is no quantity")
    return Recorded(
        quantity=quantity,
        point=str(row.get("point") or ""),
        value=_number(row["value"]),
        u=_number(row.get("u")),
        quality=Quality(str(row.get("quality") or Quality.OK)),
        raw=str(row.get("raw") or row["value"]),
        time=str(row.get("time_utc") or ""),
        mono_ns=int(str(row.get("mono_ns") or 0)),
    )


def _number(cell: object) -> float:
    return float("nan") if cell is None or cell == "" else float(str(cell))


class RecordedReadings(Recording):
    """Fulfils `daq.roles.Instrument` with readings of another day, in order and at their pace.

    Parameters
    ----------
    instrument_class
        What kind of instrument it stands for.
    place
        Its alias and resource; the clock gives the pace.
    recorded
        The readings, oldest first.
    """

    def __init__(
        self, instrument_class: InstrumentClass, place: Place, recorded: Sequence[Recorded]
    ) -> None:
        super().__init__(instrument_class, place)
        self._all = tuple(recorded)
        self._next = 0
        self._last_ns = 0

    @property
    def quantities(self) -> frozenset[str]:
        """See `Instrument`."""
        return frozenset(item.quantity for item in self._all)

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        """Return the next recorded reading of the quantity, of the point where one is named.

        A recording has no channels; `channel` is not looked at.

        Raises
        ------
        InputError
            The recording has no such quantity.
        LinkLost
            It is over.
        """
        self._check_quantity(quantity, self.quantities)
        del channel
        clock = self._place.clock
        began_ns = clock.monotonic_ns()
        item = next(self._coming(quantity, point), None)
        if item is None:
            at = f" at '{point}'" if point else ""
            raise LinkLost(
                f"The recording is over: no more readings of {quantity}{at}.",
                instrument=self._place.label,
                hint="begin again, or use the instrument itself.",
            )
        if self._last_ns and item.mono_ns:
            clock.sleep(min(_LONGEST_WAIT_S, (item.mono_ns - self._last_ns) / 1e9))
        self._last_ns = item.mono_ns
        mono_ns = clock.monotonic_ns()
        return Reading(
            quantity=quantity,
            value=item.value,
            u=item.u,
            source=self.alias,
            point=point or item.point,
            utc_ns=clock.utc_ns(),
            mono_ns=mono_ns,
            took_ns=mono_ns - began_ns,
            quality=item.quality,
            raw=f"recorded {item.time}: {item.raw}".replace("  ", " "),
        )

    def _coming(self, quantity: str, point: str) -> Iterator[Recorded]:
        while self._next < len(self._all):
            item = self._all[self._next]
            self._next += 1
            if item.quantity == quantity and point in ("", item.point):
                yield item
