"""Invented histories: years of monthly visits, with whatever a test wants to be found in them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from procedures.history.model import NS_PER_DAY, NS_PER_YEAR, LimitLine, Value, Visit

START_NS = 1_800_000_000_000_000_000
"""2027-01-15T08:00:00Z."""


@dataclass(frozen=True)
class Recipe:
    """What a history is made of; values in the unit of the parameter, times in years.

    `slow` is the share of an Ornstein-Uhlenbeck process of time constant `tau_yr` in the noise's
    variance. A visit is adjusted back to `target` when it is found further than `band` from it.
    """

    years: float = 5.0
    per_year: float = 0.0
    noise: float = 1.0
    slow: float = 0.0
    tau_yr: float = 0.15
    season: float = 0.0
    season_phase: float = 0.0
    outliers: float = 0.0
    missed: float = 0.0
    steps: tuple[tuple[float, float], ...] = ()
    band: float | None = None
    target: float = 0.0
    low: float | None = None
    high: float | None = None
    begin_ns: int = START_NS


@dataclass
class Invented:
    """A history and the truth behind it."""

    visits: list[Visit]
    t_yr: np.ndarray
    step_visits: list[int] = field(default_factory=list)
    offset: float = 0.0


def measured(value: float, utc_ns: int, *, u: float = 0.5) -> Value:
    return Value(value, u, utc_ns)


def invent(recipe: Recipe, rng: np.random.Generator) -> Invented:
    """Return a history by the recipe."""
    t_yr = _times(recipe, rng)
    slow = _ornstein_uhlenbeck(t_yr, recipe.tau_yr, rng) * np.sqrt(recipe.slow)
    drifted = (
        recipe.target
        + recipe.per_year * t_yr
        + recipe.season * np.cos(2 * np.pi * (t_yr - recipe.season_phase))
        + recipe.noise * slow
    )
    for when, size in recipe.steps:
        drifted = drifted + np.where(t_yr >= when, size, 0.0)
    made = Invented([], t_yr, [int(np.searchsorted(t_yr, when)) for when, _ in recipe.steps])
    white = recipe.noise * np.sqrt(1.0 - recipe.slow)
    for number, (when, value) in enumerate(zip(t_yr, drifted, strict=True), start=1):
        made.visits.append(_visit(recipe, made, number, float(when), float(value), white, rng))
    return made


def _visit(recipe, made, number, when, value, white, rng) -> Visit:
    utc_ns = recipe.begin_ns + round(when * NS_PER_YEAR)
    found = value + made.offset + white * rng.standard_normal()
    adjusted = recipe.band is not None and abs(found - recipe.target) > recipe.band
    if not adjusted and rng.random() < recipe.outliers:
        found += recipe.noise * rng.choice([-1, 1]) * rng.uniform(8.0, 20.0)
    left = None
    if adjusted:
        made.offset += recipe.target - found + 0.3 * white * rng.standard_normal()
        left_value = value + made.offset + white * rng.standard_normal()
        left = measured(left_value, utc_ns + 600_000_000_000)
    limit = None
    if recipe.low is not None or recipe.high is not None:
        limit = LimitLine(recipe.low, recipe.high, "station file", "station file")
    return Visit(
        run=number,
        procedure="routine",
        result="finished",
        utc_ns=utc_ns,
        found=measured(found, utc_ns),
        left=left,
        adjusted=adjusted,
        limit=limit,
    )


def _times(recipe: Recipe, rng: np.random.Generator) -> np.ndarray:
    months = np.arange(round(12 * recipe.years))
    days = months * 30.4375 + rng.integers(-5, 6, months.size)
    kept = days[rng.random(months.size) >= recipe.missed]
    return np.asarray((kept - kept[0]) * NS_PER_DAY / NS_PER_YEAR)


def _ornstein_uhlenbeck(t_yr: np.ndarray, tau_yr: float, rng: np.random.Generator) -> np.ndarray:
    values = np.empty(t_yr.size)
    values[0] = rng.standard_normal()
    for i in range(1, t_yr.size):
        keep = np.exp(-(t_yr[i] - t_yr[i - 1]) / tau_yr)
        values[i] = keep * values[i - 1] + np.sqrt(1 - keep**2) * rng.standard_normal()
    return values
