"""Whose log it is: one station's, the one that its first run was made for.

The station file is in the first row of each run. A log that another station's file names by
mistake would mix the readings of two facilities for good, since nothing is ever taken out of it.
Whatever only shows a log (its runs, the record of one, its chain) opens any: a `LogReader`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Final

from daq.clock import Clock
from daq.errors import Refused
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.station import Station

_OWN: Final = ("name", "runway", "ident")
"""Keys of the table ``[station]`` that tell one facility from another."""


def open_station_log(station: Station) -> LogReader:
    """Open a station's log for reading.

    Raises
    ------
    InputError
        There is no such file.
    LogError
        It is no log, or of a newer format.
    Refused
        It is the log of another station.
    """
    reader = LogReader(station.log_path)
    try:
        check_owner(reader, station)
    except BaseException:
        reader.close()
        raise
    return reader


def open_station_log_for_writing(station: Station, clock: Clock) -> LogWriter:
    """Open a station's log for writing; made if missing.

    Raises
    ------
    LogBusy
        Another process writes it.
    LogError
        The file cannot be opened or is no log.
    Refused
        It is the log of another station.
    """
    writer = LogWriter(station.log_path, clock)
    try:
        with LogReader(writer.path) as reader:
            check_owner(reader, station)
    except BaseException:
        writer.close()
        raise
    return writer


def check_owner(reader: LogReader, station: Station) -> None:
    """See that a log is of this station, by the first of its runs that names one.

    Raises
    ------
    Refused
        It is of another; says what the log and what the station file say.
    """
    owner = _owner(reader)
    facility = station.station
    mine = {key: str(getattr(facility, key)) for key in _OWN}
    if not owner or owner == mine:
        return
    raise Refused(
        f"{station.log_path}: this is the log of {_in_words(owner)}; the station file "
        f"{station.path} is of {_in_words(mine)}.",
        hint="a station has a log of its own: give `log` in the station file another name.",
    )


def _owner(reader: LogReader) -> dict[str, str]:
    for entry in reader.entries(kind=Kind.RUN_STARTED):
        if own := _own(str(entry.body.get("station_text", ""))):
            return own
    return {}


def _own(station_text: str) -> dict[str, str]:
    """Return what a station file says of whose it is; nothing where it does not say all of it."""
    try:
        table = tomllib.loads(station_text).get("station")
    except tomllib.TOMLDecodeError:
        return {}
    if not isinstance(table, Mapping) or not all(key in table for key in _OWN):
        return {}
    return {key: str(table[key]) for key in _OWN}


def _in_words(own: Mapping[str, str]) -> str:
    return f"'{own['name']}', runway {own['runway']}, ident {own['ident']}"
