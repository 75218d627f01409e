"""What has to be the same when a run is gone on with: procedure, station file, instruments."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from daq.errors import IdentityError, JournalMismatch
from daq.log.entry import Body
from daq.roles import Instrument
from daq.station import Station
from procedures.catalogue import Procedure


def check_same(
    run: int,
    started: Body,
    chosen: Procedure,
    station: Station,
    instruments: Mapping[str, Instrument],
) -> None:
    """See that a run goes on as it began.

    Parameters
    ----------
    started
        Body of its first row.

    Raises
    ------
    JournalMismatch
        The procedure or the station file is another one now; names the first difference.
    IdentityError
        Another instrument answers than the run began with.
    """
    if started["procedure_version"] != chosen.version:
        raise JournalMismatch(
            f"Run {run} was begun by version {started['procedure_version']} of "
            f"'{chosen.name}'; this trimbench has version {chosen.version}.",
            hint="resume it with the trimbench that began it, or begin a new run.",
        )
    if started["station_digest"] != station.digest:
        line = _first_changed_line(str(started["station_text"]), station.text)
        raise JournalMismatch(
            f"Run {run} was begun with another station file; the first difference: {line}",
            hint="put the station file back as it was, or begin a new run.",
        )
    _check_instruments(run, started["instruments"], instruments)


def _first_changed_line(before: str, now: str) -> str:
    changes = [
        line
        for line in difflib.unified_diff(before.splitlines(), now.splitlines(), lineterm="", n=0)
        if not line.startswith(("---", "+++", "@@"))
    ]
    return " / ".join(changes[:2]) or "line ends only"


def _check_instruments(run: int, began: object, instruments: Mapping[str, Instrument]) -> None:
    if not isinstance(began, list):
        raise JournalMismatch(f"Run {run} does not say which instruments it began with.")
    for was in began:
        now = instruments.get(str(was["alias"]))
        if now is None:
            raise JournalMismatch(f"Run {run} had an instrument '{was['alias']}' that is not here.")
        if (was["model"], was["serial"]) != (now.identity.model, now.identity.serial):
            raise IdentityError(
                f"run {run} began with {was['maker']} {was['model']} serial {was['serial']}, but "
                f"{now.identity} answers now.",
                instrument=now.alias,
                hint="connect the instrument that the run began with, or begin a new run.",
            )
