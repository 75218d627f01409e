"""What a command makes sure of: that it writes over nothing, and that the log can be believed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from procedures.commands.lines import say

if TYPE_CHECKING:
    from daq.log.reader import LogReader
    from daq.station import Station


def kept_files(station: Station) -> tuple[Path, ...]:
    """Return the files that no output may be written over: station file, log, what is beside it."""
    from daq.log.store import files_of

    return (station.path, *files_of(station.log_path))


def check_outputs(kept: Iterable[Path], *outputs: Path | None) -> None:
    """See, before any work is done, that each output can be written and is no file to be kept.

    Raises
    ------
    InputError
        It is one of these, no regular file, or named twice.
    """
    from procedures.record.atomic import writable

    taken = list(kept)
    for path in outputs:
        if path is not None:
            taken.append(writable(path, taken))


def chain_warnings(reader: LogReader) -> list[str]:
    """Return what has to be said before anything computed from this log; nothing when it holds."""
    from daq.errors import LogDamaged

    try:
        reader.verify()
    except LogDamaged as error:
        return [f"THE LOG WAS CHANGED: {error}"]
    return []


def warn(warnings: Sequence[str], *, as_json: bool) -> None:
    """Say warnings on standard error; with ``--json`` they are in the object instead."""
    if not as_json:
        for warning in warnings:
            say(f"warning: {warning}", err=True)
