"""A driven traverse from log to places: delay found, rows cut into stretches, what is in common.

Two ways of cutting: around the places at which a receiver that is walked would stand, for the fit
of the course line; or by the weakest of many short stretches between those places, for clearance,
where a sag is narrow and a drive sees what lies between the places.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from procedures.trims.clearance import INNER_EDGE_DEG
from procedures.trims.drive import Drive
from procedures.trims.drive_cells import Cell, between_places, cells
from procedures.trims.drive_delay import Delay, StatedDelay, find_delay
from procedures.trims.traverse import Traverse, linear_region


@dataclass(frozen=True, slots=True)
class Cut:
    """A way of cutting.

    Attributes
    ----------
    azimuths_deg
        The planned places, from the 90 Hz side to the 150 Hz side: what has to be driven over.
    places
        Turns the rows into places by their numbers.
    """

    azimuths_deg: tuple[float, ...]
    places: Callable[[Drive, Delay], Mapping[int, Cell]]


@dataclass(frozen=True, slots=True)
class Reduced:
    """What a drive comes to.

    Attributes
    ----------
    delay
        By how much the values were late; corrected in `places`.
    places
        By number, from the 90 Hz side to the 150 Hz side.
    u_common_place_m
        What is left of the delay's uncertainty as one error of all places to the side: its time
        at the mean speed, which is near zero where both directions are driven alike.
    """

    delay: Delay
    places: Mapping[int, Cell]
    u_common_place_m: float


def reduce_drive(drive: Drive, cut: Cut, stated: StatedDelay, *, u_place_m: float) -> Reduced:
    """Return the places of a drive, its delay corrected.

    Raises
    ------
    InputError
        The log does not cross the course line, or no usable row lies on the traverse.
    """
    as_stated = Delay(
        stated.delay_s, stated.delay_u_s, stated.lag_s,
        estimated=False, hysteresis_m=0.0, passes=0,
    )  # fmt: skip
    within = _linear_deg(cut.places(drive, as_stated))
    delay = find_delay(drive, within, stated, u_place_m=u_place_m)
    placed = drive.placed(delay.delay_s)
    near = (placed.azimuth_deg >= within[0]) & (placed.azimuth_deg <= within[1])
    speed = placed.speed_m_s[near & np.isfinite(drive.ddm) & np.isfinite(placed.speed_m_s)]
    mean_m_s = float(np.mean(speed)) if len(speed) else 0.0
    return Reduced(delay, cut.places(drive, delay), abs(mean_m_s) * delay.delay_u_s)


def around_places(azimuths_deg: Sequence[float]) -> Cut:
    """Return what gives each place all rows that lie nearer to it than to its neighbours."""
    edges = between_places(azimuths_deg)
    return Cut(tuple(azimuths_deg), lambda drive, delay: cells(drive, delay, edges))


def weakest_between(azimuths_deg: Sequence[float], finest_deg: float) -> Cut:
    """Return what gives, between each place and the next, the weakest stretch of `finest_deg`.

    Weakest is the least DDM towards the tone of the side. The outermost stretches of the drive are
    always there, so that it is known how far it reached.
    """

    def cut(drive: Drive, delay: Delay) -> Mapping[int, Cell]:
        azimuth = drive.placed(delay.delay_s).azimuth_deg
        settled = drive.settled(delay.delay_s, delay.lag_s)
        reached = azimuth[np.isfinite(azimuth) & np.isfinite(drive.ddm) & settled]
        if not len(reached):
            return cells(drive, delay, list(azimuths_deg))
        low = max(float(np.min(reached)), azimuths_deg[0])
        high = min(float(np.max(reached)), azimuths_deg[-1]) + 1e-9
        inside = (low + finest_deg, high - finest_deg)
        marks = {*azimuths_deg, -INNER_EDGE_DEG, 0.0, INNER_EDGE_DEG, *inside}
        edges = [low, *sorted(x for x in marks if inside[0] <= x <= inside[1]), high]
        return _weakest(drive, delay, edges, finest_deg)

    return Cut(tuple(azimuths_deg), cut)


def _weakest(
    drive: Drive, delay: Delay, edges_deg: Sequence[float], finest_deg: float
) -> Mapping[int, Cell]:
    fine: list[float] = [edges_deg[0]]
    window: list[int] = []
    for number, (start, stop) in enumerate(pairwise(edges_deg)):
        parts = max(1, math.ceil((stop - start) / finest_deg - 1e-6))
        fine += [start + (stop - start) * part / parts for part in range(1, parts + 1)]
        window += [number] * parts
    found = cells(drive, delay, fine)
    _, rising = _linear(found)
    best: dict[int, int] = {}
    rows: dict[int, list[int]] = {}
    for at, cell in found.items():
        rows.setdefault(window[at], []).append(at)
        weakest = best.setdefault(window[at], at)
        if _towards(cell, rising) < _towards(found[weakest], rising):
            best[window[at]] = at
    return {
        number: replace(
            found[at], rows=tuple(row for part in rows[number] for row in found[part].rows)
        )
        for number, at in best.items()
    }


def _towards(cell: Cell, rising: float) -> float:
    """Return DDM towards the tone that has to predominate on the cell's side."""
    return cell.ddm * rising * math.copysign(1.0, cell.azimuth_deg)


def _linear(places: Mapping[int, Cell]) -> tuple[Traverse, float]:
    """Return the linear region of places, and the sign of its slope."""
    ordered = sorted(places.values(), key=lambda cell: cell.azimuth_deg)
    traverse = Traverse(
        "angle_deg",
        np.array([cell.azimuth_deg for cell in ordered]),
        np.array([cell.ddm for cell in ordered]),
    )
    used = linear_region(traverse)
    linear = Traverse("angle_deg", traverse.position[used], traverse.ddm[used])
    return linear, math.copysign(1.0, linear.ddm[-1] - linear.ddm[0])


def _linear_deg(places: Mapping[int, Cell]) -> tuple[float, float]:
    linear, _ = _linear(places)
    return float(linear.position[0]), float(linear.position[-1])
