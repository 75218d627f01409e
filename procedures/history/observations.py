"""A parameter's visits as arrays: what the statistics work on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from procedures.history.model import NS_PER_YEAR, Visit

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

MOST_VISITS: Final = 400
"""Only the newest so many visits are fitted: the fit's cost grows with their cube."""

_HALF_WINDOW: Final = 3
_OUTLIER_SIGMAS: Final = 4.0
_MAD_TO_SIGMA: Final = 1.4826
"""Median absolute deviation -> standard deviation, for normally distributed values."""


@dataclass(frozen=True, slots=True)
class Observations:
    """Values of one parameter, in order of time; all arrays have shape (n,).

    A visit on which the parameter was adjusted gives two: as found, which ends one stretch, and
    as left, which begins the next. So an adjustment is known and never taken for drift.

    Attributes
    ----------
    origin_utc_ns
        Moment of the first visit; `t_yr` counts from it.
    t_yr
        Years of 365.25 days.
    value
        SI.
    stretch
        Number of the stretch between adjustments, from 0.
    visit
        Index of the visit in the sequence that was given.
    outliers
        Indices of visits whose as-found value stands apart and was left out.
    """

    origin_utc_ns: int
    t_yr: npt.NDArray[np.float64]
    value: npt.NDArray[np.float64]
    stretch: npt.NDArray[np.intp]
    visit: npt.NDArray[np.intp]
    outliers: tuple[int, ...]

    @property
    def span_yr(self) -> float:
        """Time from the first observation to the last, years."""
        return float(self.t_yr[-1] - self.t_yr[0]) if self.t_yr.size else 0.0


def observe(visits: Sequence[Visit]) -> Observations:
    """Return the visits as arrays, without outliers.

    Outliers are found by the Hampel identifier (F. R. Hampel, 1974; R. K. Pearson, 2002; from
    memory): a value further than 4 robust standard deviations from the median of its 7 nearest
    visits, adjustments taken out. Not left out is what the visit before or after confirms, so
    that the first visit after a step counts, and a visit that ended in an adjustment: the hand
    that turned the control confirmed what was found.
    """
    import numpy as np

    skipped = max(0, len(visits) - MOST_VISITS)
    kept = visits[skipped:]
    outliers = _outliers(kept)
    rows: list[tuple[int, float, int, int]] = []
    stretch = 0
    for index, visit in enumerate(kept):
        if visit.found is not None and index not in outliers:
            rows.append((visit.found.utc_ns, visit.found.value, stretch, index + skipped))
        if visit.adjusted:
            stretch += 1
            if visit.left is not None:
                rows.append((visit.left.utc_ns, visit.left.value, stretch, index + skipped))
    origin = rows[0][0] if rows else 0
    return Observations(
        origin_utc_ns=origin,
        t_yr=np.array([(row[0] - origin) / NS_PER_YEAR for row in rows], dtype=np.float64),
        value=np.array([row[1] for row in rows], dtype=np.float64),
        stretch=np.array([row[2] for row in rows], dtype=np.intp),
        visit=np.array([row[3] for row in rows], dtype=np.intp),
        outliers=tuple(sorted(index + skipped for index in outliers)),
    )


def _outliers(visits: Sequence[Visit]) -> frozenset[int]:
    import numpy as np

    indices: list[int] = []
    values: list[float] = []
    taken_out = 0.0
    for index, visit in enumerate(visits):
        if visit.found is not None:
            indices.append(index)
            values.append(visit.found.value - taken_out)
        if visit.adjusted and visit.found is not None and visit.left is not None:
            taken_out += visit.left.value - visit.found.value
    if len(values) < 2 * _HALF_WINDOW + 1:
        return frozenset()
    array = np.array(values)
    apart = np.array([_apart(array, i) for i in range(array.size)])
    sigma = _MAD_TO_SIGMA * float(np.median(apart))
    if sigma <= 0.0:
        return frozenset()
    far: list[int] = np.flatnonzero(apart > _OUTLIER_SIGMAS * sigma).tolist()
    alone = [i for i in far if not _confirmed(array, i, sigma)]
    return frozenset(indices[i] for i in alone if not visits[indices[i]].adjusted)


def _apart(array: npt.NDArray[np.float64], i: int) -> float:
    import numpy as np

    window = array[max(0, i - _HALF_WINDOW) : i + _HALF_WINDOW + 1]
    return abs(float(array[i] - np.median(window)))


def _confirmed(array: npt.NDArray[np.float64], i: int, sigma: float) -> bool:
    """Return whether the visit before or after read the same, within noise."""
    reach = _OUTLIER_SIGMAS * math.sqrt(2.0) * sigma
    beside = (*array[max(0, i - 1) : i], *array[i + 1 : i + 2])
    return any(abs(float(array[i] - value)) <= reach for value in beside)
