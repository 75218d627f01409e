"""What is due as an iCalendar file (RFC 5545), one all-day event each.

An event keeps its UID from file to file, so importing a newer file moves it and makes no second
one. Lines end in CR LF and are folded at 75 octets (3.1); texts are escaped (3.3.11); DTSTAMP is
UTC (3.8.7.2).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final

from daq.station import Facility
from procedures.history.due import DueItem
from procedures.history.model import NS_PER_DAY
from procedures.record.atomic import replacing
from procedures.record.safe_text import visible

_FOLD_OCTETS: Final = 75
_PRODID: Final = "-//trimbench//due//EN"


def write_calendar(
    items: Sequence[DueItem], facility: Facility, path: Path, *, now_utc_ns: int
) -> None:
    """Write what is due to `path`, whole or not at all.

    Raises
    ------
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    content = calendar_text(items, facility, now_utc_ns=now_utc_ns).encode("utf-8")
    with replacing(path) as file:
        file.write(content)


def calendar_text(items: Sequence[DueItem], facility: Facility, *, now_utc_ns: int) -> str:
    """Return the calendar; an item without a date is not in it."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{_PRODID}", "CALSCALE:GREGORIAN"]
    for item in items:
        if item.due is not None:
            lines += _event(item, item.due, facility, now_utc_ns)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded}\r\n" for line in lines for folded in _folded(line))


def uid_of(item: DueItem, facility: Facility) -> str:
    """Return the event's identifier: the same for the same thing at the same station."""
    words = "\n".join((facility.name, facility.ident, item.kind, item.name))
    return f"{hashlib.sha256(words.encode()).hexdigest()[:32]}@trimbench"


def _event(item: DueItem, due: date, facility: Facility, now_utc_ns: int) -> Iterable[str]:
    stamp = f"{datetime.fromtimestamp(now_utc_ns // 1_000_000_000, tz=UTC):%Y%m%dT%H%M%SZ}"
    if item.kind == "calibration":
        what = f"calibration of {item.name} due"
        detail = "The instrument is refused for a run after this day unless a reason is given."
    else:
        what = f"{item.name} due"
        detail = f"To be done with: trimbench run {item.procedure}."
    last = "never" if item.last is None else item.last.isoformat()
    return (
        "BEGIN:VEVENT",
        f"UID:{uid_of(item, facility)}",
        f"DTSTAMP:{stamp}",
        # A later file has the higher number, so that its date replaces the earlier one.
        f"SEQUENCE:{now_utc_ns // NS_PER_DAY}",
        f"DTSTART;VALUE=DATE:{due:%Y%m%d}",
        f"DTEND;VALUE=DATE:{due + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{_escaped(f'{facility.ident}: {what}')}",
        f"DESCRIPTION:{_escaped(f'{detail} Last done: {last}. Interval: {item.source}.')}",
        f"LOCATION:{_escaped(f'{facility.name}, runway {facility.runway}')}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    )


def _escaped(text: str) -> str:
    shown = visible(text)
    for character in ("\\", ";", ","):
        shown = shown.replace(character, f"\\{character}")
    return shown


def _folded(line: str) -> Iterable[str]:
    """Yield a line in pieces of at most 75 octets; no character is parted."""
    piece, octets = "", 0
    for character in line:
        size = len(character.encode("utf-8"))
        if octets + size > _FOLD_OCTETS:
            yield piece
            piece, octets = " ", 1
        piece += character
        octets += size
    yield piece
