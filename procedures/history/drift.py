"""How fast a parameter drifts, with what confidence, and when it will leave its limits.

The model: a level between any two adjustments or steps, one drift for the whole history and, when
the history is longer than a year and a half and the values demand it, an annual cosine. The fit is
generalised least squares over a grid of noise models (`procedures.history.noise`) on what the
Hampel identifier left (`procedures.history.observations`). Intervals are of 95 per cent, from
Student's t.

They are intervals of what the instruments would read on average. An instrument's own error, the
same at every visit, moves the level and not the drift, and is not in them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from procedures.history.model import NS_PER_YEAR
from procedures.history.noise import Fit, fit, whitenings
from procedures.history.observations import Observations
from procedures.history.steps import design_of, find_steps, levels

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

COVERAGE: Final = 0.95
SEASON_FROM_YR: Final = 1.5
"""A shorter history cannot tell a season from a drift."""

SEASON_SIGNIFICANCE: Final = 0.05
HORIZON_YR: Final = 10.0
"""Nothing is foretold beyond."""

_LEAST_FREEDOM: Final = 3
_LEAST_SPAN_YR: Final = 0.1
_GRID_YR: Final = 1.0 / 122.0
"""Three days: how finely a date is looked for."""


@dataclass(frozen=True, slots=True)
class Season:
    """An annual term: half its swing, SI, and the day of the year on which it is highest."""

    amplitude: float
    peak_day: int
    significance: float


@dataclass(frozen=True, slots=True)
class Exit:
    """When the parameter will leave its limits; moments in ns, None: not within `HORIZON_YR`.

    Attributes
    ----------
    side
        ``low`` or ``high``: the limit that the estimate meets first.
    utc_ns
        When the estimate meets it.
    earliest_utc_ns, latest_utc_ns
        When the near and when the far edge of the band meets it.
    """

    side: str
    utc_ns: int | None
    earliest_utc_ns: int | None
    latest_utc_ns: int | None


@dataclass(frozen=True, slots=True)
class Drift:
    """The fit of one parameter.

    Attributes
    ----------
    per_year
        SI units a year of 365.25 days.
    half_width
        Half of its 95 per cent interval.
    season
        The annual term; None when there is none or none could be told.
    steps
        Observations, by index, that are the first after a step.
    fitted
        The coefficients and their scale.
    seen
        What was fitted.
    """

    per_year: float
    half_width: float
    season: Season | None
    steps: tuple[int, ...]
    fitted: Fit
    seen: Observations

    @property
    def significant(self) -> bool:
        """Whether the interval leaves no drift out."""
        return abs(self.per_year) > self.half_width

    @property
    def last_level(self) -> int:
        """Number of the level that holds now."""
        return int(levels(self.seen, self.steps)[-1])

    def expected(self, t_yr: Array, level: int | None = None) -> tuple[Array, Array]:
        """Return the expected value, and half the band, at `t_yr` (shape (n,)).

        Parameters
        ----------
        t_yr
            Years from the first observation.
        level
            Which level holds; the last when None.
        """
        import numpy as np

        chosen = self.last_level if level is None else level
        rows = design_of(
            t_yr,
            np.full(t_yr.size, chosen, dtype=np.intp),
            self.last_level + 1,
            season=self.season is not None,
            middle_yr=0.5 * float(self.seen.t_yr[-1]),
        )
        spread = np.sqrt(np.einsum("np,pq,nq->n", rows, self.fitted.cov, rows))
        return rows @ self.fitted.beta, self.fitted.quantile(COVERAGE) * spread

    def year_of(self, utc_ns: int) -> float:
        """Return a moment as years from the first observation."""
        return (utc_ns - self.seen.origin_utc_ns) / NS_PER_YEAR


def fit_drift(seen: Observations) -> Drift | None:
    """Fit a parameter's history; None when it is too short to say anything.

    Steps are looked for first, with a season allowed for wherever it could be told.
    """
    may_have_season = seen.span_yr >= SEASON_FROM_YR
    if not _enough(seen, (), season=False):
        return None
    may_have_season = may_have_season and _enough(seen, (), season=True)
    steps = find_steps(seen, season=may_have_season)
    while steps and not _enough(seen, steps, season=may_have_season):
        steps = steps[:-1]
    models = whitenings(seen.t_yr)
    fitted = fit(_design(seen, steps, season=False), seen.value, models)
    season = None
    if may_have_season:
        with_season = fit(_design(seen, steps, season=True), seen.value, models)
        season = _season(seen, with_season)
        if season.significance < SEASON_SIGNIFICANCE:
            fitted = with_season
        else:
            season = None
    slope = int(levels(seen, steps)[-1]) + 1
    return Drift(
        per_year=float(fitted.beta[slope]),
        half_width=fitted.quantile(COVERAGE) * math.sqrt(float(fitted.cov[slope, slope])),
        season=season,
        steps=steps,
        fitted=fitted,
        seen=seen,
    )


def leaves_limits(drift: Drift, low: float | None, high: float | None, now_utc_ns: int) -> Exit:
    """Return when a parameter leaves its limits, from now on.

    Parameters
    ----------
    low, high
        SI; None where a side is open.
    """
    import numpy as np

    begin = drift.year_of(now_utc_ns)
    t_yr = np.arange(begin, begin + HORIZON_YR, _GRID_YR)
    middle, half = drift.expected(t_yr)
    exits = [
        (
            side,
            _first(sign * (middle - limit) > 0.0, t_yr),
            _first(sign * (middle - limit) + half > 0.0, t_yr),
            _first(sign * (middle - limit) - half > 0.0, t_yr),
        )
        for side, limit, sign in (("low", low, -1.0), ("high", high, 1.0))
        if limit is not None
    ]
    if not exits:
        return Exit("", None, None, None)
    # The side met first; where the estimate meets none, the one that the band meets first.
    side, meets, earliest, latest = min(exits, key=lambda e: (_late(e[1]), _late(e[2])))
    return Exit(side, *(_moment(drift, year) for year in (meets, earliest, latest)))


def _late(year: float | None) -> float:
    return math.inf if year is None else year


def _first(outside: npt.NDArray[np.bool_], t_yr: Array) -> float | None:
    import numpy as np

    where = np.flatnonzero(outside)
    return float(t_yr[where[0]]) if where.size else None


def _moment(drift: Drift, year: float | None) -> int | None:
    return None if year is None else drift.seen.origin_utc_ns + round(year * NS_PER_YEAR)


def _enough(seen: Observations, steps: tuple[int, ...], *, season: bool) -> bool:
    import numpy as np

    if seen.t_yr.size == 0 or seen.span_yr < _LEAST_SPAN_YR:
        return False
    design = _design(seen, steps, season=season)
    if seen.t_yr.size - design.shape[1] < _LEAST_FREEDOM:
        return False
    # Many adjustments, or all visits of a level on one day, may leave the drift undetermined.
    return bool(np.linalg.matrix_rank(design) == design.shape[1])


def _design(seen: Observations, steps: tuple[int, ...], *, season: bool) -> Array:
    level = levels(seen, steps)
    middle_yr = 0.5 * float(seen.t_yr[-1])
    return design_of(seen.t_yr, level, int(level[-1]) + 1, season=season, middle_yr=middle_yr)


def _season(seen: Observations, fitted: Fit) -> Season:
    import numpy as np
    from scipy.stats import f

    cosine, sine = fitted.beta[-2:]
    pair = fitted.beta[-2:]
    statistic = float(pair @ np.linalg.solve(fitted.cov[-2:, -2:], pair)) / 2.0
    peak_yr = math.atan2(sine, cosine) / (2.0 * math.pi) + seen.origin_utc_ns / NS_PER_YEAR
    return Season(
        amplitude=math.hypot(cosine, sine),
        # 1970 began when the count of nanoseconds did.
        peak_day=int((peak_yr % 1.0) * 365.25) + 1,
        significance=float(f.sf(statistic, 2, fitted.dof)),
    )
