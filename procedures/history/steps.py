"""Steps: where the level of a parameter changed at once, and nobody had turned its control.

The search adds one step at a time. For each place between two visits where one may be, the
likelihood of the values with a step there is compared with that of none, each with its own best
noise model (`procedures.history.noise`), level, drift and season; the best place is kept when
twice the logarithm of the ratio passes a threshold (likelihood ratio for one change at an unknown
place: D. V. Hinkley, Biometrika 57, 1970; binary segmentation: A. J. Scott and M. Knott,
Biometrics 30, 1974; both from memory). The threshold is not taken from a table: correlated noise
makes steps of its own, and so it was set by simulation (`THRESHOLD`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from procedures.history.noise import Whitening, whitenings
from procedures.history.observations import Observations

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

THRESHOLD: Final = 14.0
"""Twice the logarithm of the likelihood ratio that a step has to reach. Over 200 clean histories of
five years, false steps: 0.5 per cent under white noise, 2 under noise that is mostly slow."""

MOST_STEPS: Final = 6
_EACH_SIDE: Final = 3
"""Visits on each side of a step, unless an adjustment on that side confirms what was found."""

_NOTHING: Final = 1e-20
"""Share of the values' square that is rounding and no noise."""

_LEAST: Final = 8
"""Observations below which no step is looked for."""


def find_steps(seen: Observations, *, season: bool) -> tuple[int, ...]:
    """Return the observations, by index, that are the first after a step, ascending.

    Parameters
    ----------
    season
        Allow for an annual term, so that a winter is not taken for a step.
    """
    if seen.t_yr.size < _LEAST:
        return ()
    models = whitenings(seen.t_yr)
    found: list[int] = []
    while len(found) < MOST_STEPS:
        places = _places(seen, found)
        if not places:
            break
        best, gain = _best_place(seen, found, places, models, season=season)
        if gain < THRESHOLD:
            break
        found = sorted([*found, best])
    return tuple(_refined(seen, found, models, season=season))


def levels(seen: Observations, steps: Sequence[int]) -> npt.NDArray[np.intp]:
    """Return the number of the level, from 0, that each observation belongs to.

    A level ends at an adjustment and at a step.
    """
    import numpy as np

    begins = np.zeros(seen.t_yr.size, dtype=np.intp)
    begins[1:] = np.diff(seen.stretch) != 0
    begins[list(steps)] = 1
    return np.cumsum(begins).astype(np.intp)


def design_of(
    t_yr: Array, level: npt.NDArray[np.intp], count: int, *, season: bool, middle_yr: float
) -> Array:
    """Return the columns of the fit: a level each, the drift and, if asked for, the season.

    Parameters
    ----------
    t_yr
        Years, shape (n,).
    level
        Level of each row.
    count
        How many levels there are.
    middle_yr
        Where the drift's column is zero, years.

    Returns
    -------
    ndarray
        Shape (n, count + 1), or (n, count + 3) with the season's cosine and sine.
    """
    import numpy as np

    columns = [*(np.arange(count)[:, None] == level[None, :]).astype(np.float64), t_yr - middle_yr]
    if season:
        columns += [np.cos(2 * np.pi * t_yr), np.sin(2 * np.pi * t_yr)]
    return np.stack(columns, axis=1)


def _places(seen: Observations, found: Sequence[int]) -> list[int]:
    level = levels(seen, found)
    return [k for k in range(1, seen.t_yr.size) if _may_step(seen, level, found, k)]


def _may_step(
    seen: Observations, level: npt.NDArray[np.intp], found: Sequence[int], k: int
) -> bool:
    if level[k] != level[k - 1] or seen.visit[k] == seen.visit[k - 1]:
        return False
    same = level == level[k]
    before, after = int(same[:k].sum()), int(same[k:].sum())
    first, last = k - before, k + after
    begun_by_hand = first > 0 and first not in found
    ended_by_hand = last < level.size and last not in found
    return (before >= _EACH_SIDE or begun_by_hand) and (after >= _EACH_SIDE or ended_by_hand)


def _best_place(
    seen: Observations,
    found: Sequence[int],
    places: Sequence[int],
    models: Sequence[Whitening],
    *,
    season: bool,
) -> tuple[int, float]:
    """Return the most likely place of one more step, and twice the logarithm of its ratio."""
    import numpy as np

    level = levels(seen, found)
    count = int(level[-1]) + 1
    design = design_of(seen.t_yr, level, count, season=season, middle_yr=0.5 * float(seen.t_yr[-1]))
    if seen.t_yr.size - design.shape[1] < 3:
        return places[0], 0.0
    extra = _step_columns(level, places)
    scale = float(seen.value @ seen.value)
    without = -math.inf
    with_step = np.full(len(places), -math.inf)
    freedom = seen.t_yr.size - design.shape[1]
    for model in models:
        q, _ = np.linalg.qr(model.apply(design))
        whitened = model.apply(np.column_stack([seen.value, extra]))
        rest = whitened - q @ (q.T @ whitened)
        value, column = rest[:, 0], rest[:, 1:]
        rss = float(value @ value)
        if rss <= _NOTHING * scale:
            return places[0], 0.0
        norm = np.einsum("nk,nk->k", column, column)
        gained = np.divide((value @ column) ** 2, norm, out=np.zeros_like(norm), where=norm > 1e-9)
        without = max(without, -freedom * math.log(rss) - model.log_det)
        left = np.maximum(rss - gained, 1e-12 * rss)
        with_step = np.maximum(with_step, -freedom * np.log(left) - model.log_det)
    best = int(np.argmax(with_step))
    return places[best], float(with_step[best]) - without


def _step_columns(level: npt.NDArray[np.intp], places: Sequence[int]) -> Array:
    import numpy as np

    index = np.arange(level.size)
    return np.stack(
        [((index >= k) & (level == level[k])).astype(np.float64) for k in places], axis=1
    )


def _refined(
    seen: Observations, found: Sequence[int], models: Sequence[Whitening], *, season: bool
) -> list[int]:
    """Return the steps after each was placed once more, with the others known."""
    if len(found) < 2:
        return list(found)
    placed = list(found)
    for step in found:
        others = [k for k in placed if k != step]
        best, _ = _best_place(seen, others, _places(seen, others), models, season=season)
        placed = sorted({*others, best})
    return placed
