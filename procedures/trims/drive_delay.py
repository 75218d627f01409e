"""By how much a driven receiver's values come late: stated, or found from both directions.

Driven one way, a receiver that lags shows the course line too far ahead, driven back too far
behind: hysteresis. Near the course line the value of a row is, to first order,

    ddm = f(x) - f'(x) v T,    x place to the side, v speed to the side, T delay

so T comes out of one linear least-squares fit over the rows of both directions, with f a cubic and
f' v as one more column. Repeated with the positions of time t - T until it stands still
(Gauss-Newton). What a smoothing receiver does to a ramp is exactly a delay: first-order smoothing
of time constant tau delays it by tau, a moving mean over L by L / 2 (textbook linear systems).

The uncertainty of T has two parts: the scatter of the rows, whose number counts only as far as they
are independent (effective sample size of a first-order autoregression, Bayley and Hammersley 1946),
and a position error that lasts for a whole pass, which looks like hysteresis: u / (v sqrt(passes)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Self

import numpy as np

from daq.station_receiver_log import ReceiverLog
from procedures.trims.drive import Drive, Mask, Placed, passes
from procedures.trims.line_fit import Floats

FEWEST: Final = 8
"""Rows near the course line that each direction needs for an estimate."""

SLOWEST_M_S: Final = 0.1
"""Below this speed to the side a row says nothing of a delay."""

LARGEST_S: Final = 60.0
_STEPS: Final = 20
_CHOOSING: Final = 4
_STILL_S: Final = 1e-6
_RESTLESS: Final = 0.01
_SIGNIFICANT: Final = 2.0


@dataclass(frozen=True, slots=True)
class StatedDelay:
    """What is known of the delay before the drive; see `daq.station_receiver_log`."""

    lag_s: float
    lag_u_s: float
    clock_offset_s: float = 0.0
    clock_offset_u_s: float = 0.0

    @classmethod
    def of(cls, layout: ReceiverLog) -> Self:
        """Return what a station says of its receiver's log."""
        return cls(layout.lag_s, layout.lag_u_s, layout.clock_offset_s, layout.clock_offset_u_s)

    @property
    def delay_s(self) -> float:
        """Lag and clock offset together."""
        return self.lag_s + self.clock_offset_s

    @property
    def delay_u_s(self) -> float:
        """Standard uncertainty of the delay."""
        return math.hypot(self.lag_u_s, self.clock_offset_u_s)


@dataclass(frozen=True, slots=True)
class Delay:
    """The delay that the values are corrected by.

    Attributes
    ----------
    delay_s, delay_u_s
        See `procedures.trims.drive`, and its standard uncertainty.
    lag_s
        The part of it that is smoothing, as far as the clock offset is known.
    estimated
        It was found from both directions; else it is what was stated.
    hysteresis_m
        By how much the course line seemed to lie farther to the 150 Hz side when driven to that
        side than when driven back, before the correction; zero where only one way was driven.
    passes
        How many times the receiver was driven across.
    warnings
        In words.
    """

    delay_s: float
    delay_u_s: float
    lag_s: float
    estimated: bool
    hysteresis_m: float
    passes: int
    warnings: tuple[str, ...] = ()


def find_delay(
    drive: Drive, within_deg: tuple[float, float], stated: StatedDelay, *, u_place_m: float
) -> Delay:
    """Return the delay by both directions, or the stated one where there is one direction only.

    Parameters
    ----------
    drive
        The log and its track.
    within_deg
        From which to which azimuth DDM is smooth: the linear region around the course line.
    stated
        What is known of it.
    u_place_m
        Standard uncertainty of one position to the side.
    """
    over = len(passes(drive.placed(stated.delay_s).azimuth_deg))
    found = _estimate(drive, within_deg, stated)
    if found is None:
        return _as_stated(stated, over)
    # A position error that lasts for a whole pass looks like a delay.
    place_s = u_place_m / (found.mean_m_s * math.sqrt(max(over, 1)))
    u_s = math.hypot(found.u_s, place_s)
    return Delay(
        delay_s=found.delay_s,
        delay_u_s=u_s,
        lag_s=max(0.0, found.delay_s - stated.clock_offset_s),
        estimated=True,
        hysteresis_m=found.delay_s * found.apart_m_s,
        passes=over,
        warnings=_disagreement(found.delay_s, u_s, stated),
    )


def _as_stated(stated: StatedDelay, over: int) -> Delay:
    doubt_s = 2.0 * stated.delay_u_s
    words = (
        "the drive does not show its delay, which takes both directions across the course line; "
        f"lag and clock offset are taken as stated: {stated.delay_s:.2f} ± {doubt_s:.2f} s (k=2)"
    )
    return Delay(
        delay_s=stated.delay_s,
        delay_u_s=stated.delay_u_s,
        lag_s=stated.lag_s,
        estimated=False,
        hysteresis_m=0.0,
        passes=over,
        warnings=(words,),
    )


def _disagreement(delay_s: float, u_s: float, stated: StatedDelay) -> tuple[str, ...]:
    apart_s = abs(delay_s - stated.delay_s)
    if apart_s <= _SIGNIFICANT * math.hypot(u_s, stated.delay_u_s):
        return ()
    return (
        f"both directions show a delay of {delay_s:.2f} ± {2 * u_s:.2f} s (k=2), which is not the "
        f"stated one of {stated.delay_s:.2f} ± {2 * stated.delay_u_s:.2f} s: look at the "
        "receiver's smoothing and at the clocks",
    )


@dataclass(frozen=True, slots=True)
class _Estimate:
    """A delay, its uncertainty by scatter, the mean speed, and how far apart both ways' are."""

    delay_s: float
    u_s: float
    mean_m_s: float
    apart_m_s: float


def _estimate(
    drive: Drive, within_deg: tuple[float, float], stated: StatedDelay
) -> _Estimate | None:
    """Return the delay by both directions; None where the drive does not tell it."""
    delay_s = stated.delay_s
    chosen = np.ones(len(drive.ddm), dtype=np.bool_)
    for step in range(_STEPS):
        placed = drive.placed(delay_s)
        if step < _CHOOSING:
            # Later on rows at the edges would come and go for ever.
            lag_s = max(0.0, delay_s - stated.clock_offset_s)
            chosen = _near(drive, placed, within_deg) & drive.settled(delay_s, lag_s)
        used = chosen & np.isfinite(placed.speed_m_s + placed.lateral_m)
        speed = placed.speed_m_s[used]
        forth, back = speed[speed > 0.0], speed[speed < 0.0]
        if min(len(forth), len(back)) < FEWEST:
            return None
        step_s, u_s = _step(placed.lateral_m[used], speed, drive.ddm[used])
        delay_s += step_s
        if not (math.isfinite(delay_s) and abs(delay_s) <= LARGEST_S):
            return None
        if abs(step_s) <= max(_STILL_S, _RESTLESS * u_s):
            apart_m_s = float(np.median(forth) - np.median(back))
            return _Estimate(delay_s, u_s, float(np.mean(np.abs(speed))), apart_m_s)
    return None


def _near(drive: Drive, placed: Placed, within_deg: tuple[float, float]) -> Mask:
    azimuth = placed.azimuth_deg
    moving = np.abs(placed.speed_m_s) >= SLOWEST_M_S
    inside = (azimuth >= within_deg[0]) & (azimuth <= within_deg[1])
    return inside & moving & np.isfinite(drive.ddm)


def _step(lateral_m: Floats, speed_m_s: Floats, ddm: Floats) -> tuple[float, float]:
    """Return how much is still missing in the delay, and its uncertainty by the scatter, s."""
    scale = float(np.ptp(lateral_m)) / 2.0
    if scale == 0.0 or len(ddm) <= 5:
        return math.nan, math.nan
    z = (lateral_m - float(np.mean(lateral_m))) / scale
    cubic = np.stack([np.ones_like(z), z, z**2, z**3], axis=1)
    first, *_ = np.linalg.lstsq(cubic, ddm, rcond=None)
    slope_per_m = (first[1] + 2.0 * first[2] * z + 3.0 * first[3] * z**2) / scale
    design = np.column_stack([cubic, -slope_per_m * speed_m_s])
    solution, _, rank, _ = np.linalg.lstsq(design, ddm, rcond=None)
    if rank < design.shape[1]:
        return math.nan, math.nan
    residuals = ddm - design @ solution
    variance = float(residuals @ residuals) / (len(ddm) - design.shape[1])
    by_delay = float(np.linalg.inv(design.T @ design)[4, 4])
    return float(solution[4]), math.sqrt(variance * by_delay / independent_part(residuals))


def independent_part(residuals: Floats) -> float:
    """Return which part of the rows is independent, 0 to 1: (1 - r) / (1 + r), r of lag one."""
    square = float(residuals @ residuals)
    if len(residuals) < 3 or square == 0.0:
        return 1.0
    r = min(max(float(residuals[:-1] @ residuals[1:]) / square, 0.0), 0.99)
    return (1.0 - r) / (1.0 + r)
