"""A track out of a text file of NMEA 0183 sentences: lines in, fixes with their time out.

GGA says which kind of fix a position rests on, RMC the date. Where a file has GGA, positions are
taken from it and RMC gives the date; where it has none, both come from RMC, whose mode indicator
(NMEA 0183 version 2.3 and later, from memory) tells the kind of fix. A line that is disturbed, or
has no fix, is left out and counted: it is a gap in the track and no error.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, TypeVar

from daq.errors import AnswerError, InputError
from daq.nmea import SECONDS_PER_DAY, Recommended, is_gga, is_rmc, parse_gga, parse_rmc
from daq.position import Fix, Position

_EPOCH: Final = datetime.fromtimestamp(0, tz=UTC).date()
_Told = TypeVar("_Told")


@dataclass(frozen=True, slots=True)
class TrackFix:
    """One fix; `time_s` as in `NmeaTrack`, the place in WGS-84 degrees."""

    time_s: float
    latitude_deg: float
    longitude_deg: float
    fix: Fix


@dataclass(frozen=True, slots=True)
class NmeaTrack:
    """A track.

    Attributes
    ----------
    name
        What it is called in messages.
    fixes
        In the order of time, which increases.
    dated
        Times are seconds since 1970 UTC; else since the midnight before the first fix.
    left_out
        How many position sentences were disturbed, had no fix, or repeated a time.
    """

    name: str
    fixes: tuple[TrackFix, ...]
    dated: bool
    left_out: int


def parse_track(text: str, *, name: str = "track") -> NmeaTrack:
    """Return the track in a text; lines that are no GGA or RMC sentences do not matter.

    Raises
    ------
    InputError
        There is no position in it.
    """
    lines = [line.strip() for line in text.removeprefix("\ufeff").splitlines()]
    recommended, bad_rmc = _parsed(filter(is_rmc, lines), parse_rmc)
    positions, left_out = _parsed(filter(is_gga, lines), parse_gga)
    if not positions and not left_out:
        positions, left_out = [each.position for each in recommended], bad_rmc
    midnight_s = _first_midnight_s(positions, recommended)
    fixes: list[TrackFix] = []
    for time_s, position in _unwrapped(positions):
        at_s = time_s + (midnight_s or 0.0)
        if fixes and at_s <= fixes[-1].time_s:
            left_out += 1
            continue
        fixes.append(TrackFix(at_s, position.latitude_deg, position.longitude_deg, position.fix))
    if not fixes:
        raise InputError(
            f"{name}: no position in it: {left_out} sentences of {len(lines)} lines were disturbed "
            "or had no fix.",
            hint="give the text that the position receiver sent: GGA or RMC sentences, one a line.",
        )
    return NmeaTrack(name, tuple(fixes), midnight_s is not None, left_out)


def _parsed(lines: Iterable[str], parse: Callable[[str], _Told]) -> tuple[list[_Told], int]:
    """Return what could be parsed, and how many could not."""
    found: list[_Told] = []
    failed = 0
    for line in lines:
        try:
            found.append(parse(line))
        except AnswerError:
            failed += 1
    return found, failed


def _unwrapped(positions: Iterable[Position]) -> Iterable[tuple[float, Position]]:
    """Yield each position with its time since the first midnight, s."""
    days_s, last_s = 0.0, 0.0
    for position in positions:
        time_s = position.time_of_day_s
        if time_s < last_s - SECONDS_PER_DAY / 2:
            days_s += SECONDS_PER_DAY
        last_s = time_s
        yield days_s + time_s, position


def _first_midnight_s(positions: list[Position], dated: list[Recommended]) -> float | None:
    """Return the midnight before the first position, s since 1970; None where no date is known."""
    if not positions or not dated:
        return None
    first = dated[0]
    midnight_s = (first.date - _EPOCH).days * SECONDS_PER_DAY
    apart_s = first.position.time_of_day_s - positions[0].time_of_day_s
    # The first date may stand on the other side of midnight from the first position.
    return midnight_s - SECONDS_PER_DAY * round(-apart_s / SECONDS_PER_DAY)
