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

from procedures.trims.clearance import INNER_EDGE_DEG, SHORT_OF_EDGE_DEG
from procedures.trims.drive import Drive
from procedures.trims.drive_cells import Cell, between_places, cells
from procedures.trims.drive_delay import Delay, StatedDelay, find_delay
from procedures.trims.line_fit import Floats
from procedures.trims.traverse import Traverse, linear_region

Span = tuple[float, float]
"""From and to, azimuths in degrees, the first the lower."""


@dataclass(frozen=True, slots=True)
class Stretches:
    """Rows that were cut.

    Attributes
    ----------
    places
        By number, from the 90 Hz side to the 150 Hz side.
    unread_deg
        Between which azimuths there is no usable row although there should be: a receiver that is
        walked is read at each place, one that is driven may fail just where the signal does.
    line
        DDM of as many stretches as there are about the course line.
    """

    places: Mapping[int, Cell]
    unread_deg: tuple[Span, ...]
    line: Traverse


@dataclass(frozen=True, slots=True)
class Cut:
    """A way of cutting.

    Attributes
    ----------
    azimuths_deg
        The planned places, from the 90 Hz side to the 150 Hz side: what has to be driven over.
    stretches
        Turns the rows into places by their numbers.
    """

    azimuths_deg: tuple[float, ...]
    stretches: Callable[[Drive, Delay], Stretches]


@dataclass(frozen=True, slots=True)
class Reduced:
    """What a drive comes to.

    Attributes
    ----------
    delay
        By how much the values were late; corrected in `places`.
    places, unread_deg
        As in `Stretches`.
    u_common_place_m
        What is left of the delay's uncertainty as one error of all places to the side: its time
        at the mean speed, which is near zero where both directions are driven alike.
    falls
        DDM falls towards positive azimuths about the course line: a reversed sense, or a reversed
        count of positions.
    """

    delay: Delay
    places: Mapping[int, Cell]
    u_common_place_m: float
    unread_deg: tuple[Span, ...]
    falls: bool


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
    line = cut.stretches(drive, as_stated).line
    within = float(line.position[0]), float(line.position[-1])
    delay = find_delay(drive, within, stated, u_place_m=u_place_m)
    placed = drive.placed(delay.delay_s)
    near = (placed.azimuth_deg >= within[0]) & (placed.azimuth_deg <= within[1])
    speed = placed.speed_m_s[near & np.isfinite(drive.ddm) & np.isfinite(placed.speed_m_s)]
    mean_m_s = float(np.mean(speed)) if len(speed) else 0.0
    found = cut.stretches(drive, delay)
    return Reduced(
        delay,
        found.places,
        abs(mean_m_s) * delay.delay_u_s,
        found.unread_deg,
        falls=bool(found.line.ddm[-1] < found.line.ddm[0]),
    )


def around_places(azimuths_deg: Sequence[float]) -> Cut:
    """Return what gives each place all rows that lie nearer to it than to its neighbours."""
    edges = between_places(azimuths_deg)

    def cut(drive: Drive, delay: Delay) -> Stretches:
        places = cells(drive, delay, edges)
        return Stretches(places, (), _linear(places))

    return Cut(tuple(azimuths_deg), cut)


def weakest_between(azimuths_deg: Sequence[float], finest_deg: float) -> Cut:
    """Return what gives, between each place and the next, the weakest stretch of `finest_deg`.

    Weakest is the least DDM towards the tone of the side: 150 Hz on the positive one. The outermost
    stretches of the drive are always there, so that it is known how far it reached. Where two rows
    lie farther apart than `finest_deg` nothing is known in between, nor where the drive ends short
    of the outermost place by more than `SHORT_OF_EDGE_DEG`.
    """

    def cut(drive: Drive, delay: Delay) -> Stretches:
        azimuth = drive.placed(delay.delay_s).azimuth_deg
        settled = drive.settled(delay.delay_s, delay.lag_s)
        reached = azimuth[np.isfinite(azimuth) & np.isfinite(drive.ddm) & settled]
        if not len(reached):
            cells(drive, delay, azimuths_deg)  # raises, and says why
        low = max(float(np.min(reached)), azimuths_deg[0])
        high = min(float(np.max(reached)), azimuths_deg[-1]) + 1e-9
        inside = (low + finest_deg, high - finest_deg)
        marks = {*azimuths_deg, -INNER_EDGE_DEG, 0.0, INNER_EDGE_DEG, *inside}
        edges = [low, *sorted(x for x in marks if inside[0] <= x <= inside[1]), high]
        places, line = _weakest(drive, delay, edges, finest_deg)
        planned = azimuths_deg[0], azimuths_deg[-1]
        return Stretches(places, _holes(reached, planned, finest_deg), line)

    return Cut(tuple(azimuths_deg), cut)


def _holes(azimuth_deg: Floats, planned_deg: Span, finest_deg: float) -> tuple[Span, ...]:
    """Return where nothing is known of what was planned; see `weakest_between`.

    Rows of all passes together: what one pass did not hold another may.
    """
    low, high = planned_deg
    at = [float(x) for x in np.sort(azimuth_deg)]
    spans = [(start, stop) for start, stop in pairwise(at) if stop - start > finest_deg]
    if at[0] > low + SHORT_OF_EDGE_DEG:
        spans.insert(0, (low, at[0]))
    if at[-1] < high - SHORT_OF_EDGE_DEG:
        spans.append((at[-1], high))
    within = ((max(start, low), min(stop, high)) for start, stop in spans)
    return tuple((start, stop) for start, stop in within if start < stop)


def _weakest(
    drive: Drive, delay: Delay, edges_deg: Sequence[float], finest_deg: float
) -> tuple[Mapping[int, Cell], Traverse]:
    """Return the weakest stretch of each window, and the course line by all of them."""
    fine: list[float] = [edges_deg[0]]
    window: list[int] = []
    for number, (start, stop) in enumerate(pairwise(edges_deg)):
        parts = max(1, math.ceil((stop - start) / finest_deg - 1e-6))
        fine += [start + (stop - start) * part / parts for part in range(1, parts + 1)]
        window += [number] * parts
    found = cells(drive, delay, fine)
    best: dict[int, int] = {}
    rows: dict[int, list[int]] = {}
    for at, cell in found.items():
        rows.setdefault(window[at], []).append(at)
        weakest = best.setdefault(window[at], at)
        if _towards(cell) < _towards(found[weakest]):
            best[window[at]] = at
    places = {
        number: replace(
            found[at], rows=tuple(row for part in rows[number] for row in found[part].rows)
        )
        for number, at in best.items()
    }
    return places, _linear(found)


def _towards(cell: Cell) -> float:
    """Return DDM towards the tone that has to predominate on the cell's side."""
    return cell.ddm * math.copysign(1.0, cell.azimuth_deg)


def _linear(places: Mapping[int, Cell]) -> Traverse:
    """Return the linear region of places."""
    ordered = sorted(places.values(), key=lambda cell: cell.azimuth_deg)
    traverse = Traverse(
        "angle_deg",
        np.array([cell.azimuth_deg for cell in ordered]),
        np.array([cell.ddm for cell in ordered]),
    )
    used = linear_region(traverse)
    return Traverse("angle_deg", traverse.position[used], traverse.ddm[used])
