"""What is due: routine work by its intervals, and the calibration of the instruments.

The station file may hold the intervals::

    [[maintenance.routine]]
    name = "monthly readings"
    procedure = "routine"
    interval = "30 d"
    source = "local maintenance order 4"

Without that table the defaults here hold, each with its source or as common practice without one.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

from daq.errors import StationFileError, UnitError
from daq.log.owner import open_station_log
from daq.log.reader import LogReader
from daq.station import InstrumentEntry, Station
from daq.toml_file import did_you_mean
from daq.units import Kind, parse
from procedures.catalogue import PROCEDURES
from procedures.history.model import day_of

SOON_DAYS: Final = 14
"""So many days ahead a thing counts as due soon."""

NO_SOURCE: Final = "common practice, no source"
STATION_FILE: Final = "station file"
_SECONDS_PER_DAY: Final = 86_400.0
_LONGEST_DAYS: Final = 3653
_KEYS: Final = ("name", "procedure", "interval", "source")

State = Literal["never done", "overdue", "due soon", "later", "no date"]


@dataclass(frozen=True, slots=True)
class RoutineItem:
    """One thing that is done again and again.

    Attributes
    ----------
    name
        In words, unique.
    procedure
        What is run; see `procedures.catalogue`.
    interval_days
        From one to the next.
    source
        Who asks for that interval.
    """

    name: str
    procedure: str
    interval_days: float
    source: str


DEFAULTS: Final = (
    RoutineItem("routine readings", "routine", 30.0, NO_SOURCE),
    RoutineItem(
        "course alignment near the threshold",
        "course",
        30.0,
        "UK CAP 670, ILS 13.1.1 and 13.1.2: monthly or as agreed",
    ),
    RoutineItem("clearance by a wide traverse", "clearance", 365.0, NO_SOURCE),
    RoutineItem("alarms and time to alarm", "alarms", 90.0, NO_SOURCE),
    RoutineItem("monitor baseline", "monitor-baseline", 365.0, NO_SOURCE),
)


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing and its day.

    Attributes
    ----------
    kind
        ``routine`` or ``calibration``.
    name
        Of the routine, or the instrument's alias.
    procedure
        What is to be run; empty for a calibration.
    last, due
        Days (UTC); `due` is None for an instrument whose date nobody stated.
    state
        As of the day on which it was asked.
    source
        Where the interval or the date comes from.
    """

    kind: Literal["routine", "calibration"]
    name: str
    procedure: str
    last: date | None
    due: date | None
    state: State
    source: str


def routine_items(
    maintenance: Mapping[str, object] | None,
    *,
    file: str = "",
    known: Iterable[str] = tuple(PROCEDURES),
) -> tuple[RoutineItem, ...]:
    """Return what the station file's table ``[maintenance]`` asks for, or the defaults.

    Parameters
    ----------
    maintenance
        The table as TOML gives it; None when there is none.
    file
        Its name, for messages.
    known
        Names of the procedures; a default whose procedure is not among them is left out.

    Raises
    ------
    StationFileError
        An entry lacks a key, has one that is not known, or names no procedure or no interval.
    """
    names = tuple(known)
    if maintenance is None:
        return tuple(item for item in DEFAULTS if item.procedure in names)
    entries = maintenance.get("routine", [])
    extra = sorted(set(maintenance) - {"routine"})
    if extra or not isinstance(entries, Sequence) or isinstance(entries, str):
        raise StationFileError(
            "expected entries [[maintenance.routine]] and nothing else.",
            file=file,
            key=".".join(["maintenance", *extra[:1]]),
        )
    items = tuple(_item(entry, number, file, names) for number, entry in enumerate(entries, 1))
    twice = next((i.name for n, i in enumerate(items) if i.name in [j.name for j in items[:n]]), "")
    if twice:
        raise StationFileError(f"'{twice}' stands twice.", file=file, key="maintenance.routine")
    return items


def due_at(station: Station, today: date) -> tuple[DueItem, ...]:
    """Return what is due by the station's intervals and its log, as `what_is_due` does.

    Raises
    ------
    StationFileError
        The table ``[maintenance]`` is wrong.
    LogError
        The log cannot be read.
    Refused
        It is the log of another station.
    """
    items = routine_items(tomllib.loads(station.text).get("maintenance"), file=str(station.path))
    if not station.log_path.is_file():
        return what_is_due(None, station, items, today)
    with open_station_log(station) as reader:
        return what_is_due(reader, station, items, today)


def what_is_due(
    reader: LogReader | None, station: Station, items: Sequence[RoutineItem], today: date
) -> tuple[DueItem, ...]:
    """Return all items, the most urgent first.

    A routine is due one interval after the last run of its procedure that finished.

    Parameters
    ----------
    reader
        The station's log; None when there is none yet.
    """
    done = {} if reader is None else _last_done(reader)
    routine = [_routine(item, done.get(item.procedure), today) for item in items]
    calibrations = [_calibration(entry, today) for entry in station.instruments]
    return tuple(
        sorted([*routine, *calibrations], key=lambda i: (i.due or date.max, i.kind, i.name))
    )


def _last_done(reader: LogReader) -> dict[str, date]:
    return {
        str(summary.started["procedure"]): day_of(summary.last_utc_ns)
        for summary in sorted(reader.runs(), key=lambda s: s.last_utc_ns)
        if summary.ended is not None and summary.ended.get("result") == "finished"
    }


def _routine(item: RoutineItem, last: date | None, today: date) -> DueItem:
    if last is None:
        return DueItem("routine", item.name, item.procedure, None, today, "never done", item.source)
    due = last + timedelta(days=math.floor(item.interval_days))
    state = _state(due, today)
    return DueItem("routine", item.name, item.procedure, last, due, state, item.source)


def _calibration(entry: InstrumentEntry, today: date) -> DueItem:
    due = entry.calibration_due
    state: State = "no date" if due is None else _state(due, today)
    return DueItem("calibration", entry.alias, "", entry.calibrated, due, state, STATION_FILE)


def _state(due: date, today: date) -> State:
    # The day itself is still in time.
    if due < today:
        return "overdue"
    return "due soon" if due <= today + timedelta(days=SOON_DAYS) else "later"


def _item(entry: object, number: int, file: str, known: Sequence[str]) -> RoutineItem:
    key = f"maintenance.routine.{number}"
    if not isinstance(entry, Mapping):
        raise StationFileError("expected a table.", file=file, key=key)
    for name in entry:
        if name not in _KEYS:
            hint = did_you_mean(str(name), _KEYS)
            raise StationFileError(
                f"'{name}' is not known here.", file=file, key=f"{key}.{name}", hint=hint
            )
    for name in _KEYS[:3]:
        value = entry.get(name)
        if not isinstance(value, str) or not value.strip():
            raise StationFileError("expected a text.", file=file, key=f"{key}.{name}")
    procedure = str(entry["procedure"])
    if procedure not in known:
        raise StationFileError(
            f"there is no procedure '{procedure}' (there are: {', '.join(sorted(known))}).",
            file=file,
            key=f"{key}.procedure",
            hint=did_you_mean(procedure, known),
        )
    return RoutineItem(
        name=str(entry["name"]).strip(),
        procedure=procedure,
        interval_days=_interval_days(str(entry["interval"]), file, f"{key}.interval"),
        source=str(entry.get("source") or STATION_FILE),
    )


def _interval_days(text: str, file: str, key: str) -> float:
    try:
        days = parse(text, Kind.TIME) / _SECONDS_PER_DAY
    except UnitError as error:
        raise StationFileError(
            error.message, file=file, key=key, hint='write it as "30 d" or "12 weeks".'
        ) from error
    if not 1.0 <= days <= _LONGEST_DAYS:
        raise StationFileError(
            f"an interval of {text} is not between a day and ten years.", file=file, key=key
        )
    return days
