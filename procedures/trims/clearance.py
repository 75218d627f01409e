"""Off-course clearance from a wide traverse: the least DDM of each sector on each side.

From the angle at which |DDM| first reaches 0.180 to 10 degrees it may not be less than 0.180; from
10 to 35 degrees not less than 0.155 (Annex 10, 3.1.3.7.3, read in secondary texts). DDM is counted
towards the tone that has to predominate on that side, so a false approach to the course line, or
past it, is a low or negative value and never hidden by a magnitude.

The flank on which DDM still rises past 0.180 is no part of the search for the lowest point: it is
at 0.180 by definition somewhere, and a reading close above it says nothing of a sag.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from daq.errors import InputError
from daq.rounding import fixed
from procedures.judge import Judgement, Limit, Rule, judge
from procedures.trims.traverse import Traverse, linear_region

Side = Literal["90", "150"]
Floats = npt.NDArray[np.float64]

INNER_DDM: Final = 0.180
OUTER_DDM: Final = 0.155
INNER_EDGE_DEG: Final = 10.0
OUTER_EDGE_DEG: Final = 35.0
SHORT_OF_EDGE_DEG: Final = 0.5
"""How far short of the outer edge the last reading may be and still count as having reached it."""

SOURCE: Final = "Annex 10 Vol I, 3.1.3.7.3"

TURNED_ROUND: Final = (
    "DDM falls towards positive positions: the sides are named by the readings, as if positions "
    "were counted the other way round; if they are not, the sense is reversed"
)
"""Warning where nobody says on which side positions are positive."""


@dataclass(frozen=True, slots=True)
class SectorMinimum:
    """The lowest point of one sector on one side.

    Attributes
    ----------
    side
        The tone that has to predominate there.
    from_deg, to_deg
        The part that was searched, magnitudes of the angle from the course line: in the inner
        sector from where DDM stops rising.
    lowest_ddm
        Least DDM, counted positive towards the tone of the side.
    at_deg
        Where, as the traverse counts angles.
    points
        How many readings lie in the sector.
    judgement
        Against the sector's limit.
    reached_deg
        Of the inner sector: where its limit was first reached, likewise; None of the outer.
    """

    side: Side
    from_deg: float
    to_deg: float
    lowest_ddm: float
    at_deg: float
    points: int
    judgement: Judgement
    reached_deg: float | None = None

    @property
    def searched(self) -> str:
        """The sector in words: where its limit was reached, how far DDM rose, where it ends."""
        end = f"{self.to_deg:g} deg"
        if self.reached_deg is None:
            return f"{fixed(self.from_deg, 1)} to {end}"
        start = (
            f"{fixed(self.judgement.limit.low or 0.0, 3)} reached at "
            f"{fixed(self.reached_deg, 1)} deg"
        )
        if self.from_deg >= self.to_deg:
            return f"{start}, rising as far as {end}"
        if self.from_deg > self.reached_deg:
            return f"{start}, rising to {fixed(self.from_deg, 1)} deg, and from there to {end}"
        return f"{start}, and from there to {end}"


@dataclass(frozen=True, slots=True)
class ClearanceCheck:
    """A traverse checked for clearance.

    Attributes
    ----------
    sectors
        Inner and outer sector of each side, as far as there are readings.
    missing
        Sectors without readings, ended early, or in which 0.180 was not reached, in words.
    reached_deg
        The furthest reading on the 90 and on the 150 side, degrees from the course line.
    warnings
        What makes the check doubtful, in words.
    """

    sectors: tuple[SectorMinimum, ...]
    missing: tuple[str, ...]
    reached_deg: tuple[float, float]
    warnings: tuple[str, ...] = ()


def check_clearance(
    traverse: Traverse,
    *,
    distance_m: float | None = None,
    rule: Rule = "simple",
    inner_ddm: float = INNER_DDM,
    outer_ddm: float = OUTER_DDM,
    positive_side_150: bool = False,
) -> ClearanceCheck:
    """Find the least clearance per sector and judge it.

    Parameters
    ----------
    traverse
        Readings across the course line and far to both sides.
    distance_m
        Needed when positions are metres: from the antenna to the line of the traverse.
    rule
        Acceptance rule; guarded needs ``u_ddm`` in the traverse to be of use.
    inner_ddm, outer_ddm
        Least DDM of the two sectors; lower in an alarm profile.
    positive_side_150
        Positions are known to be positive where 150 Hz has to predominate, so that DDM which falls
        there is a reversed sense. Otherwise the sides are named by the readings, with a warning
        where that turns them round.

    Raises
    ------
    InputError
        The traverse does not cross the course line, has metres and no distance, or its sense is
        reversed.
    """
    angles = _angles_deg(traverse, distance_m)
    region = linear_region(traverse)
    y = traverse.ddm[region]
    falls = bool(y[-1] < y[0])
    if falls and positive_side_150:
        raise InputError(
            "DDM falls towards the side where 150 Hz has to predominate: the sense of the station, "
            "of the receiver or of its log is reversed.",
            hint="find out which before anything is judged; nothing was.",
        )
    way = -1.0 if falls else 1.0
    u = np.zeros_like(traverse.ddm) if traverse.u_ddm is None else traverse.u_ddm
    zero_deg = float(angles[region][int(np.argmin(np.abs(y)))])
    limits = (_limit("inner", inner_ddm), _limit("outer", outer_ddm))
    sectors: list[SectorMinimum] = []
    missing: list[str] = []
    reached: list[float] = []
    sides: tuple[tuple[Side, float], ...] = (("90", -1.0), ("150", 1.0))
    for side, sign in sides:
        away = (angles - zero_deg) * way * sign
        here = away > 0.0
        one = _OneSide(side, away[here], angles[here], (traverse.ddm * sign)[here], u[here], rule)
        reached.append(float(np.max(away[here], initial=0.0)))
        found, absent = one.check(limits)
        sectors += found
        missing += absent
    warnings = (TURNED_ROUND,) if falls else ()
    return ClearanceCheck(tuple(sectors), tuple(missing), (reached[0], reached[1]), warnings)


def _limit(name: str, low: float) -> Limit:
    return Limit(low, None, "1", f"clearance, {name} sector", SOURCE, "read in a secondary text")


def _angles_deg(traverse: Traverse, distance_m: float | None) -> Floats:
    if traverse.axis == "angle_deg":
        return traverse.position
    if distance_m is None or not (math.isfinite(distance_m) and distance_m > 0.0):
        raise InputError(
            "The traverse is in metres; sectors are angles.",
            hint="give the distance from the localizer antenna to the line of the traverse.",
        )
    return np.degrees(np.arctan2(traverse.position, distance_m))


@dataclass(frozen=True, slots=True)
class _OneSide:
    """The readings of one side; `away_deg` from the course line, `ddm` towards the side's tone."""

    side: Side
    away_deg: Floats
    angle_deg: Floats
    ddm: Floats
    u: Floats
    rule: Rule

    def check(self, limits: tuple[Limit, Limit]) -> tuple[list[SectorMinimum], list[str]]:
        """Return the sectors found and what is missing, in words."""
        sectors: list[SectorMinimum] = []
        missing: list[str] = []
        inner, outer = limits
        strong = self.away_deg[(self.ddm >= (inner.low or 0.0)) & (self.away_deg <= INNER_EDGE_DEG)]
        if len(strong):
            reached = float(np.min(strong))
            start = self._flank_end(reached)
            sectors.append(self._lowest(start, INNER_EDGE_DEG, inner, reached))
        else:
            missing.append(
                f"{self.side} Hz side: {inner.low:g} DDM is not reached within "
                f"{INNER_EDGE_DEG:g} degrees"
            )
        if np.any((self.away_deg > INNER_EDGE_DEG) & (self.away_deg <= OUTER_EDGE_DEG)):
            sectors.append(self._lowest(INNER_EDGE_DEG, OUTER_EDGE_DEG, outer))
            missing += self._unreached()
        else:
            missing.append(
                f"{self.side} Hz side: no reading from {INNER_EDGE_DEG:g} to "
                f"{OUTER_EDGE_DEG:g} degrees"
            )
        return sectors, missing

    def _flank_end(self, start: float) -> float:
        """Return where DDM, rising from `start` on, stops rising: at the inner edge at most."""
        order = np.argsort(self.away_deg)
        away, ddm = self.away_deg[order], self.ddm[order]
        at = int(np.searchsorted(away, start))
        while at + 1 < len(away) and away[at + 1] <= INNER_EDGE_DEG and ddm[at + 1] >= ddm[at]:
            at += 1
        return float(away[at])

    def _unreached(self) -> list[str]:
        furthest = float(np.max(self.away_deg))
        if furthest >= OUTER_EDGE_DEG - SHORT_OF_EDGE_DEG:
            return []
        return [
            f"{self.side} Hz side: the readings end at {fixed(furthest, 1)} degrees; nothing is "
            f"known from there to {OUTER_EDGE_DEG:g} degrees"
        ]

    def _lowest(
        self, start: float, stop: float, limit: Limit, reached: float | None = None
    ) -> SectorMinimum:
        inside = np.flatnonzero((self.away_deg >= start) & (self.away_deg <= stop))
        at = int(inside[int(np.argmin(self.ddm[inside]))])
        return SectorMinimum(
            side=self.side,
            from_deg=start,
            to_deg=stop,
            lowest_ddm=float(self.ddm[at]),
            at_deg=float(self.angle_deg[at]),
            points=len(inside),
            judgement=judge(float(self.ddm[at]), float(self.u[at]), limit, self.rule),
            reached_deg=reached,
        )
