"""A driven traverse as places: the rows of one stretch of it averaged to one reading at one place.

What is fitted and judged is then the same as for a traverse that was walked. A mean over a stretch
is the value in its middle as long as DDM is straight there, so stretches are short. Rows just
after a turn or a start, where a smoothing receiver has not settled, are not averaged.

Uncertainty of a place: its rows scatter about the line through the places, pooled over all of them,
and count as far as they are independent (`drive_delay.independent_part`). A receiver that smooths
also flattens what is narrow: after the delay is corrected, first-order smoothing of time constant
tau at speed v leaves (v tau)^2 / 2 times the curvature of DDM, a moving mean less (Taylor series
of the impulse response). That is put into the uncertainty and not corrected.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.errors import InputError
from daq.receiver_log import LogRow
from procedures.trims.drive import Drive, Mask, Placed
from procedures.trims.drive_delay import Delay, independent_part
from procedures.trims.line_fit import Floats
from procedures.trims.place import Offset


@dataclass(frozen=True, slots=True)
class Cell:
    """The rows of one stretch.

    Attributes
    ----------
    at
        Mean place of the usable rows.
    ddm
        Mean, ratio.
    u_scatter
        Standard uncertainty of the mean by the scatter of the rows.
    u_smoothing
        What the receiver's smoothing may take off, standard uncertainty.
    n
        How many rows were averaged.
    rows
        All rows of the stretch, those that may not be used among them.
    """

    at: Offset
    ddm: float
    u_scatter: float
    u_smoothing: float
    n: int
    rows: tuple[LogRow, ...]

    @property
    def azimuth_deg(self) -> float:
        """Angle from the course line."""
        return math.degrees(math.atan2(self.at.lateral_m, self.at.along_m))


def cells(drive: Drive, delay: Delay, edges_deg: Sequence[float]) -> dict[int, Cell]:
    """Return the stretches between neighbouring edges that have a usable row, by their number.

    Parameters
    ----------
    drive, delay
        The log, and by how much its values are late.
    edges_deg
        Increasing azimuths; stretch n lies between edges n and n + 1.

    Raises
    ------
    InputError
        None has a usable row.
    """
    placed = drive.placed(delay.delay_s)
    azimuth = placed.azimuth_deg
    number = np.searchsorted(np.asarray(edges_deg), azimuth, side="right") - 1
    number[~np.isfinite(azimuth) | (number >= len(edges_deg) - 1)] = -1
    settled = drive.settled(delay.delay_s, delay.lag_s)
    usable = np.isfinite(drive.ddm) & (number >= 0) & settled
    if not np.any(usable):
        raise InputError(
            "No usable row of the log lies on the traverse.",
            hint="look at the sign of the positions, at [site], and at the flags of the receiver.",
        )
    ids = np.unique(number[usable])
    members = {int(n): np.flatnonzero(number == n) for n in ids}
    used = {n: rows[usable[rows]] for n, rows in members.items()}
    middle = np.array([np.mean(azimuth[rows]) for rows in used.values()])
    mean = np.array([np.mean(drive.ddm[rows]) for rows in used.values()])
    one_u, part = _scatter(azimuth[usable], drive.ddm[usable], middle, mean)
    smoothing = _smoothing(placed, usable, delay, middle, mean)
    return {
        n: Cell(
            at=Offset(float(np.mean(placed.along_m[rows])), float(np.mean(placed.lateral_m[rows]))),
            ddm=float(mean[k]),
            u_scatter=one_u / math.sqrt(max(1.0, part * len(rows))),
            u_smoothing=float(smoothing[k]),
            n=len(rows),
            rows=tuple(drive.rows[i] for i in members[n]),
        )
        for k, (n, rows) in enumerate(used.items())
    }


def between_places(azimuths_deg: Sequence[float]) -> list[float]:
    """Return the edges half way between places, the outermost stretches as wide as the next."""
    at = np.asarray(azimuths_deg, dtype=float)
    half = np.diff(at) / 2.0
    middle = at[:-1] + half
    return [float(at[0] - half[0]), *map(float, middle), float(at[-1] + half[-1])]


def _scatter(azimuth: Floats, ddm: Floats, middle: Floats, mean: Floats) -> tuple[float, float]:
    """Return the standard deviation of a row about the line through the places, and the part."""
    residuals = ddm - _through(azimuth, middle, mean)
    freedom = len(ddm) - len(mean)
    if freedom <= 0:
        return 0.0, 1.0
    return math.sqrt(float(residuals @ residuals) / freedom), independent_part(residuals)


def _through(azimuth: Floats, middle: Floats, mean: Floats) -> Floats:
    """Return the broken line through the places, its end pieces carried on."""
    if len(middle) < 2:
        return np.full_like(azimuth, mean[0])
    piece = np.clip(np.searchsorted(middle, azimuth) - 1, 0, len(middle) - 2)
    slope = np.diff(mean) / np.diff(middle)
    return mean[piece] + slope[piece] * (azimuth - middle[piece])


def _smoothing(placed: Placed, usable: Mask, delay: Delay, middle: Floats, mean: Floats) -> Floats:
    """Return what smoothing may take off at each place."""
    if len(middle) < 3:
        return np.zeros_like(mean)
    speed = np.abs(placed.speed_m_s[usable])
    moving = speed[np.isfinite(speed)]
    if not len(moving):
        return np.zeros_like(mean)
    radius_m = np.hypot(placed.along_m[usable], placed.lateral_m[usable])
    per_s = math.degrees(float(np.max(moving)) / float(np.min(radius_m)))
    curvature = np.zeros_like(mean)
    slope = np.diff(mean) / np.diff(middle)
    curvature[1:-1] = np.diff(slope) / ((middle[2:] - middle[:-2]) / 2.0)
    curvature[0], curvature[-1] = curvature[1], curvature[-2]
    taken: Floats = np.abs(curvature) * (per_s * delay.lag_s) ** 2 / 2.0
    return taken
