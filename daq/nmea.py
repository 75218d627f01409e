"""NMEA 0183, as far as a position needs it: lines in, positions out; no input or output here.

A sentence is ``$``, a talker (two letters), what it is (three letters), fields between commas,
``*`` and a checksum: the exclusive or of all bytes between ``$`` and ``*``, two hex digits. GGA is
the one that says which kind of fix a position rests on; RMC adds the date, and has a mode indicator
for the kind. Source: NMEA 0183 version 4.10, 5.3 and 6.3 (from memory). The standard lets a
sentence come without its checksum; a position without one is not taken here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import reduce
from types import MappingProxyType
from typing import Final

from daq.errors import AnswerError
from daq.position import Fix, Position

SECONDS_PER_DAY: Final = 86_400.0
_GGA_FIELDS: Final = 14
_RMC_FIELDS: Final = 9
_NUMBER: Final = re.compile(r"\d{1,12}(?:\.\d{1,12})?", re.ASCII)
_SENTENCE: Final = re.compile(
    r"\$(?P<body>(?P<talker>[A-Z]{2})(?P<kind>[A-Z]{3}),(?P<fields>[\x20-\x7E]*))"
    r"\*(?P<checksum>[0-9A-Fa-f]{2})",
    re.ASCII,
)

_FIXES: Final[Mapping[str, Fix]] = MappingProxyType(
    {
        "0": Fix.NONE,
        "1": Fix.SINGLE,
        "2": Fix.DIFFERENTIAL,
        "3": Fix.PRECISE,
        "4": Fix.RTK_FIXED,
        "5": Fix.RTK_FLOAT,
        "6": Fix.ESTIMATED,
        "7": Fix.MANUAL,
        "8": Fix.SIMULATED,
    }
)

_MODES: Final[Mapping[str, Fix]] = MappingProxyType(
    {
        "A": Fix.SINGLE,
        "D": Fix.DIFFERENTIAL,
        "P": Fix.PRECISE,
        "R": Fix.RTK_FIXED,
        "F": Fix.RTK_FLOAT,
        "N": Fix.NONE,
        "E": Fix.ESTIMATED,
        "M": Fix.MANUAL,
        "S": Fix.SIMULATED,
    }
)
_DATE: Final = re.compile(r"(?P<d>\d\d)(?P<m>\d\d)(?P<y>\d\d)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Recommended:
    """What an RMC sentence tells: a position, without satellites and dilution, and its date."""

    position: Position
    date: date


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence whose checksum is right.

    Attributes
    ----------
    talker, kind
        ``GP``, ``GN``, ...; ``GGA``, ``RMC``, ...
    fields
        What stands between the commas, as text.
    """

    talker: str
    kind: str
    fields: tuple[str, ...]


def is_gga(line: str) -> bool:
    """Whether a line says that it is a GGA sentence of any talker; nothing is checked."""
    return line.startswith("$") and line[3:7] == "GGA,"


def is_rmc(line: str) -> bool:
    """Whether a line says that it is an RMC sentence of any talker; nothing is checked."""
    return line.startswith("$") and line[3:7] == "RMC,"


def checksum(body: str) -> int:
    """Return the exclusive or of all bytes of what stands between ``$`` and ``*``."""
    return reduce(lambda so_far, byte: so_far ^ byte, body.encode("latin-1"), 0)


def parse_sentence(line: str) -> Sentence:
    """Return the sentence in a line; spaces and line ends around it do not matter.

    Raises
    ------
    AnswerError
        It is none, or its checksum is wrong or missing.
    """
    text = line.strip()
    found = _SENTENCE.fullmatch(text)
    if found is None:
        raise AnswerError(
            f"{text[:90]!r} is no NMEA 0183 sentence with a checksum.",
            hint="look at the baud rate and at what the receiver is set to send.",
        )
    right = checksum(found["body"])
    if int(found["checksum"], 16) != right:
        raise AnswerError(
            f"The checksum of {text[:90]!r} is {found['checksum']}, but what arrived sums up to "
            f"{right:02X}.",
            hint="the line is disturbed: look at the cable, the connector and the baud rate.",
        )
    return Sentence(found["talker"], found["kind"], tuple(found["fields"].split(",")))


def _fields_of(line: str, kind: str, least: int) -> tuple[str, ...]:
    """Return the fields of a sentence that has to be of one kind and whole."""
    sentence = parse_sentence(line)
    if sentence.kind != kind or len(sentence.fields) < least:
        raise AnswerError(
            f"{line.strip()[:90]!r} is no whole {kind} sentence: {sentence.kind} with "
            f"{len(sentence.fields)} fields."
        )
    return sentence.fields


def _check_measured(fix: Fix) -> None:
    """Refuse a position that does not rest on satellites measured just now."""
    if not fix.measured:
        raise AnswerError(
            f"The position receiver has nothing to go by: {fix}.",
            hint="wait for a fix under an open sky, away from walls.",
        )


def parse_gga(line: str) -> Position:
    """Return the position of a GGA sentence.

    Raises
    ------
    AnswerError
        It is no GGA sentence, a field is no value, or there is no fix that rests on satellites
        measured just now.
    """
    fields = _fields_of(line, "GGA", _GGA_FIELDS)
    fix = _FIXES.get(fields[5])
    if fix is None:
        raise AnswerError(f"The receiver gives its fix as {fields[5]!r}, which GGA does not have.")
    _check_measured(fix)
    return Position(
        latitude_deg=_angle(fields[1], fields[2], "NS", 90.0),
        longitude_deg=_angle(fields[3], fields[4], "EW", 180.0),
        time_of_day_s=_time_of_day(fields[0]),
        fix=fix,
        satellites=int(_number(fields[6], "number of satellites")),
        dilution=_number(fields[7], "dilution of precision"),
        raw=line.strip(),
    )


def parse_rmc(line: str) -> Recommended:
    """Return the position and the date of an RMC sentence.

    Raises
    ------
    AnswerError
        It is no RMC sentence, a field is no value, or there is no fix that rests on satellites
        measured just now.
    """
    fields = _fields_of(line, "RMC", _RMC_FIELDS)
    # Receivers that speak an older version have no mode; "A" is all that they know.
    mode = fields[11] if len(fields) > 11 else "A"
    fix = _MODES.get(mode, Fix.NONE) if fields[1] == "A" else Fix.NONE
    _check_measured(fix)
    position = Position(
        latitude_deg=_angle(fields[2], fields[3], "NS", 90.0),
        longitude_deg=_angle(fields[4], fields[5], "EW", 180.0),
        time_of_day_s=_time_of_day(fields[0]),
        fix=fix,
        satellites=0,
        dilution=0.0,
        raw=line.strip(),
    )
    return Recommended(position, _date(fields[8]))


def seconds_between(earlier: Position, later: Position) -> float:
    """Return by how much the receiver's own time moved on, s; midnight may lie between."""
    return (later.time_of_day_s - earlier.time_of_day_s) % SECONDS_PER_DAY


def _number(text: str, what: str) -> float:
    if _NUMBER.fullmatch(text) is None:
        raise AnswerError(f"The {what} in the sentence is {text!r}, which is no number.")
    return float(text)


def _angle(text: str, letter: str, letters: str, most_deg: float) -> float:
    """Return ``dddmm.mmmm`` and its letter as degrees."""
    what = "latitude" if letters == "NS" else "longitude"
    degrees, minutes = divmod(_number(text, what), 100.0)
    value = degrees + minutes / 60.0
    if letter not in tuple(letters) or minutes >= 60.0 or value > most_deg:
        raise AnswerError(f"The {what} in the sentence is {text},{letter}, which is none.")
    return -value if letter == letters[1] else value


def _time_of_day(text: str) -> float:
    """Return ``hhmmss.ss`` as seconds."""
    rest, seconds = divmod(_number(text, "time"), 100.0)
    hours, minutes = divmod(rest, 100.0)
    if hours > 23 or minutes > 59 or seconds >= 61.0:
        raise AnswerError(f"The time in the sentence is {text}, which is none.")
    return 3600.0 * hours + 60.0 * minutes + seconds


def _date(text: str) -> date:
    """Return ``ddmmyy``; years from 80 on are those of the last century."""
    found = _DATE.fullmatch(text)
    try:
        if found is not None:
            year = int(found["y"])
            return date(year + (1900 if year >= 80 else 2000), int(found["m"]), int(found["d"]))
    except ValueError:
        pass
    raise AnswerError(f"The date in the sentence is {text[:20]!r}, which is none.")
