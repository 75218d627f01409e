"""A traverse that was driven: where the receiver was when each row of its log was made.

Position comes from the log itself or from a track with a time of its own, joined by time and
interpolated between two fixes. A value is stored some time after the receiver was where it belongs
to: the receiver's smoothing lags, and the two clocks differ. Both do the same and are one *delay*
here: the value of time t belongs to the place of time t - delay.

Azimuths are seen from the middle of the array, degrees, positive on the 150 Hz side.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.errors import InputError
from daq.receiver_log import LogRow
from procedures.trims.line_fit import Floats

Mask = npt.NDArray[np.bool_]

REVERSAL: Final = 0.1
"""A way back of this part of the whole span is another pass; less is a wandering position."""

SETTLING: Final = 4.0
"""Time constants after which less than two per cent of a first-order transient are left."""

UNLIKE: Final = 0.15
"""Two speeds that differ by more than this part of the highest are not the same."""

SPEED_OVER_S: Final = 1.0
"""Speed is taken from a second before to a second after, so that a wandering fix is none."""


@dataclass(frozen=True, slots=True)
class Track:
    """Where the receiver was.

    Attributes
    ----------
    time_s
        Shape (n,), increasing, on the clock of the positions.
    along_m, lateral_m
        Shape (n,): as in `procedures.trims.place.Offset`.
    longest_gap_s
        Between two fixes farther apart nothing is known.
    """

    time_s: Floats
    along_m: Floats
    lateral_m: Floats
    longest_gap_s: float

    def at(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Return along and lateral, m, at times; NaN outside the track and in its gaps."""
        after = np.clip(np.searchsorted(self.time_s, time_s), 1, max(len(self.time_s) - 1, 1))
        if len(self.time_s) < 2:
            nothing = np.full(np.shape(time_s), np.nan)
            return nothing, nothing
        wide = self.time_s[after] - self.time_s[after - 1] > self.longest_gap_s
        outside = (time_s < self.time_s[0]) | (time_s > self.time_s[-1])
        along, lateral = (
            np.where(wide | outside, np.nan, np.interp(time_s, self.time_s, values))
            for values in (self.along_m, self.lateral_m)
        )
        return along, lateral


@dataclass(frozen=True, slots=True)
class Drive:
    """A log and where it was made.

    Attributes
    ----------
    rows
        Every row of the log, in the order of time.
    time_s
        Shape (n,): when each was stored, on the clock of the positions but for the delay.
    ddm
        Shape (n,), ratios; NaN where the row may not be used.
    track
        Where the receiver was.
    """

    rows: tuple[LogRow, ...]
    time_s: Floats
    ddm: Floats
    track: Track

    def placed(self, delay_s: float) -> Placed:
        """Return where the receiver was when the values were made."""
        made_s = self.time_s - delay_s
        along, lateral = self.track.at(made_s)
        later, earlier = (self.track.at(made_s + way * SPEED_OVER_S)[1] for way in (1.0, -1.0))
        return Placed(along, lateral, (later - earlier) / (2.0 * SPEED_OVER_S))

    def settled(self, delay_s: float, lag_s: float) -> Mask:
        """Return which rows were made at a speed that had held while the smoothing settled.

        After a turn or a start a lag is no plain delay for `SETTLING` time constants; what speed
        there was before the first position nobody knows.
        """
        if lag_s == 0.0:
            return np.ones(len(self.time_s), dtype=np.bool_)
        now = self.placed(delay_s).speed_m_s
        before = self.placed(delay_s + SETTLING * lag_s).speed_m_s
        highest = float(np.max(np.abs(now), initial=0.0, where=np.isfinite(now)))
        held: Mask = np.abs(now - before) <= UNLIKE * highest
        return held


@dataclass(frozen=True, slots=True)
class Placed:
    """The places of the rows, shapes (n,); NaN where nothing is known.

    Attributes
    ----------
    along_m, lateral_m
        As in `procedures.trims.place.Offset`.
    speed_m_s
        To the 150 Hz side.
    """

    along_m: Floats
    lateral_m: Floats
    speed_m_s: Floats

    @property
    def azimuth_deg(self) -> Floats:
        """From the course line, shape (n,)."""
        return np.degrees(np.arctan2(self.lateral_m, self.along_m))


def passes(position: Floats) -> list[slice]:
    """Return the stretches in which a position goes one way, NaN values passed over.

    A stretch ends at the farthest point from which the way back is `REVERSAL` of the whole span.
    """
    known = np.flatnonzero(np.isfinite(position))
    if len(known) < 2:
        return []
    x = position[known]
    turn = REVERSAL * float(np.ptp(x))
    if turn == 0.0:
        return []
    turns = [0]
    way, far = 0.0, 0
    low = high = 0
    for at in range(1, len(x)):
        low, high = (at if x[at] < x[low] else low), (at if x[at] > x[high] else high)
        if way == 0.0 and x[high] - x[low] >= turn:
            way, far = (1.0 if high > low else -1.0), at
            turns = [min(low, high)]
        elif way != 0.0:
            if way * (x[at] - x[far]) > 0.0:
                far = at
            elif way * (x[far] - x[at]) >= turn:
                turns.append(far)
                way, far = -way, at
    turns.append(far)
    return [
        slice(int(known[first]), int(known[last]) + 1)
        for first, last in pairwise(turns)
        if last > first
    ]


def whole_days_apart(first_s: Floats, second_s: Floats) -> float:
    """Return by how many whole days the second times have to be moved to lie beside the first, s.

    For times of day, whose date nobody wrote down.
    """
    day_s = 86_400.0
    return day_s * round((float(np.mean(first_s)) - float(np.mean(second_s))) / day_s)


def require_overlap(drive: Drive, name: str) -> None:
    """Refuse a log none of whose rows has a place.

    Raises
    ------
    InputError
        None has.
    """
    if not np.any(np.isfinite(drive.placed(0.0).lateral_m)):
        raise InputError(
            f"{name}: no row of the log was made while the position was known: the log runs from "
            f"{drive.time_s[0]:.1f} to {drive.time_s[-1]:.1f} s, the positions from "
            f"{drive.track.time_s[0]:.1f} to {drive.track.time_s[-1]:.1f} s.",
            hint="give the track of the same drive; both clocks have to be on UTC, or state "
            "clock_offset.",
        )
