"""Drives that are made up from a formula: where the receiver is and what it shows are known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from daq.reading import Quality
from daq.receiver_log import LogRow
from procedures.trims.drive import Drive, Track
from procedures.trims.line_fit import Floats

ALONG_M = 3120.0
SLOPE_PER_M = 0.00145
AT_M = 2.0
"""Where the course line is."""


def straight(lateral_m: Floats) -> Floats:
    """DDM in the linear region."""
    return SLOPE_PER_M * (lateral_m - AT_M)


@dataclass(frozen=True)
class Made:
    """What a drive is made of.

    Attributes
    ----------
    memory
        Correlation of the noise of one row with that of the next.
    one_way
        Only the rows of the first pass are kept.
    """

    ddm: Callable[[Floats], Floats] = straight
    late_s: float = 0.0
    speed_m_s: float = 6.0
    reach_m: float = 100.0
    interval_s: float = 0.2
    noise_ddm: float = 0.0
    memory: float = 0.0
    begin_s: float = 0.0
    one_way: bool = False
    backwards: bool = False
    seed: int = 1

    def lateral_m(self, time_s: Floats) -> Floats:
        """Where the receiver is: to the 150 Hz side and back, or the other way round."""
        one_s = 2.0 * self.reach_m / self.speed_m_s
        after = np.clip(np.asarray(time_s) - self.begin_s, 0.0, 2.0 * one_s)
        x = self.reach_m - np.abs(after - one_s) * self.speed_m_s
        return -x if self.backwards else x

    def drive(self, *, longest_gap_s: float = 2.0) -> Drive:
        one_s = 2.0 * self.reach_m / self.speed_m_s
        time_s = self.begin_s + np.arange(0.0, one_s * (1 if self.one_way else 2), self.interval_s)
        noise = np.random.default_rng(self.seed).standard_normal(len(time_s))
        for n in range(1, len(noise) if self.memory else 0):
            noise[n] = self.memory * noise[n - 1] + np.sqrt(1.0 - self.memory**2) * noise[n]
        ddm = self.ddm(self.lateral_m(time_s - self.late_s)) + self.noise_ddm * noise
        track_s = self.begin_s + np.arange(-3.0, 2.0 * one_s + 3.0, 0.25)
        track = Track(
            track_s, np.full_like(track_s, ALONG_M), self.lateral_m(track_s), longest_gap_s
        )
        return Drive(rows_of(time_s, ddm), time_s, ddm, track)


def rows_of(time_s: Floats, ddm: Floats) -> tuple[LogRow, ...]:
    """The rows of a log."""
    pairs = zip(time_s, ddm, strict=True)
    return tuple(
        LogRow(line, float(t), float(d), Quality.OK) for line, (t, d) in enumerate(pairs, start=2)
    )


def azimuth_deg(lateral_m: float) -> float:
    """Of a place on the line of the traverse."""
    return float(np.degrees(np.arctan2(lateral_m, ALONG_M)))
