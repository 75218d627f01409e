"""Whose log it is: the station's whose ident its newest run bears.

The station file is in the first row of each run. A log that another station's file names by
mistake would mix the readings of two facilities for good, since nothing is ever taken out of it;
so nothing is written into the log of another ident. A runway that was numbered anew or a name that
was mended is told and goes on; an ident that was changed is told to the log (`change_ident`), so
that no log is ever orphaned. What only reads a log warns.
Whatever only shows a log (its runs, the record of one, its chain) opens any: a `LogReader`.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable, Mapping
from typing import Final

from daq.clock import Clock
from daq.errors import Refused
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.station import Station

_OWN: Final = ("name", "runway", "ident")
"""Keys of the table ``[station]`` that tell one facility from another."""

Warn = Callable[[str], None]


def on_stderr(text: str) -> None:
    """Print a warning where it does not mix with what a command prints."""
    print(f"warning: {text}", file=sys.stderr)  # noqa: T201 - standard error is where it belongs


def open_station_log(station: Station, warn: Warn = on_stderr) -> LogReader:
    """Open a station's log for reading.

    Parameters
    ----------
    warn
        Called where the log is of another ident, or of another name or runway.

    Raises
    ------
    InputError
        There is no such file.
    LogError
        It is no log, or of a newer format.
    """
    reader = LogReader(station.log_path)
    try:
        if said := other_owner(reader, station):
            warn(said)
    except BaseException:
        reader.close()
        raise
    return reader


def open_station_log_for_writing(
    station: Station, clock: Clock, warn: Warn = on_stderr
) -> LogWriter:
    """Open a station's log for writing; made if missing.

    Parameters
    ----------
    warn
        Called where the log is of another name or runway.

    Raises
    ------
    LogBusy
        Another process writes it.
    LogError
        The file cannot be opened or is no log.
    Refused
        It is the log of another ident.
    """
    writer = LogWriter(station.log_path, clock)
    try:
        with LogReader(writer.path) as reader:
            _check_ident(reader, station)
            if said := other_owner(reader, station):
                warn(said)
    except BaseException:
        writer.close()
        raise
    return writer


def _check_ident(reader: LogReader, station: Station) -> None:
    if ident_of(reader) in ("", station.station.ident):
        return
    raise Refused(
        other_owner(reader, station),
        hint="a station has a log of its own: give `log` in the station file another name. If it "
        "is the same station and its ident was changed: `trimbench ident-changed`.",
    )


def other_owner(reader: LogReader, station: Station) -> str:
    """Return what the log and what the station file say where they differ; empty where not."""
    owner = _owner(reader)
    mine = {key: str(getattr(station.station, key)) for key in _OWN}
    if not owner or owner == mine:
        return ""
    return (
        f"{station.log_path}: this is the log of {_in_words(owner)}; the station file "
        f"{station.path} is of {_in_words(mine)}."
    )


def ident_of(reader: LogReader) -> str:
    """Return the ident that the newest run of a log bears; empty where none names one."""
    return _owner(reader).get("ident", "")


def _owner(reader: LogReader) -> dict[str, str]:
    for entry in reversed(list(reader.entries(kind=Kind.RUN_STARTED))):
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
