"""A localizer years later: drift, seasons in the cables, steps where lightning struck.

A history is drawn once from its seed and then only looked up, so that the same station can be
visited on any dates in any order. Sizes are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Final

import numpy as np

from sim_instruments.parameters import PlantParameters
from sim_instruments.transmitter import CarrierParameters, TransmitterParameters

DAYS_A_YEAR: Final = 365.25
STRIKES_A_YEAR: Final = 0.2
HORIZON_YEARS: Final = 50.0


@dataclass(frozen=True, slots=True)
class Wear:
    """How one parameter ages, in its own unit.

    Attributes
    ----------
    per_year, per_year_spread
        Mean and standard deviation of the drift in a year.
    season_spread
        Standard deviation of the amplitude of the yearly swing.
    strike_spread
        Standard deviation of the step at a lightning strike.
    """

    per_year: float = 0.0
    per_year_spread: float = 0.0
    season_spread: float = 0.0
    strike_spread: float = 0.0


_POWER_DB: Final = Wear(per_year=-0.06, per_year_spread=0.03)
_DEPTH: Final = Wear(per_year_spread=0.0006)
_CARRIER_HZ: Final = Wear(per_year_spread=25.0)
_TRANSMITTER: Final[Mapping[str, Wear]] = {
    f"{carrier}.{key}": wear
    for carrier in ("course", "clearance")
    for key, wear in (
        ("power_db", _POWER_DB),
        ("depth_90", _DEPTH),
        ("depth_150", _DEPTH),
        ("carrier_error_hz", _CARRIER_HZ),
    )
}
WEAR: Final[Mapping[str, Wear]] = MappingProxyType(
    {
        "phase_error_deg": Wear(per_year_spread=0.8, season_spread=2.5, strike_spread=4.0),
        "transmit_phase_error_deg": Wear(per_year_spread=0.4, season_spread=1.0, strike_spread=2.0),
        "clearance_phase_error_deg": Wear(
            per_year_spread=0.6, season_spread=1.5, strike_spread=3.0
        ),
        "width_level_db": Wear(per_year_spread=0.08, season_spread=0.04, strike_spread=0.3),
        "alignment_ddm": Wear(per_year_spread=0.0005, strike_spread=0.002),
        **{f"tx{number}.{key}": wear for number in (1, 2) for key, wear in _TRANSMITTER.items()},
    }
)
"""By key of ``[simulation.plant]``; ``width_level_db`` is `width_ratio` in dB."""


@dataclass(frozen=True, slots=True)
class Course:
    """What one parameter does over the years, in its own unit."""

    per_year: float
    season: float
    steps: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class History:
    """What happens to a station.

    Attributes
    ----------
    strikes_years
        When lightning strikes, years after commissioning, in order.
    season_years
        Part of a year after commissioning at which the cables are warmest.
    courses
        By the keys of `WEAR`.
    """

    strikes_years: tuple[float, ...]
    season_years: float
    courses: Mapping[str, Course]

    def change(self, key: str, years: float) -> float:
        """Return by how much `key` has changed since commissioning, in its own unit."""
        course = self.courses[key]

        def swing(at_years: float) -> float:
            return course.season * math.cos(2 * math.pi * (at_years - self.season_years))

        struck = sum(
            step
            for when, step in zip(self.strikes_years, course.steps, strict=True)
            if when <= years
        )
        return course.per_year * years + swing(years) - swing(0.0) + struck


@lru_cache(maxsize=64)
def history(seed: int) -> History:
    """Return the history that `seed` stands for."""
    rng = np.random.default_rng((seed, 5))
    strikes: list[float] = []
    when = float(rng.exponential(1 / STRIKES_A_YEAR))
    while when < HORIZON_YEARS:
        strikes.append(when)
        when += float(rng.exponential(1 / STRIKES_A_YEAR))
    courses = {}
    for key, wear in WEAR.items():
        per_year, season = rng.standard_normal(2)
        steps = wear.strike_spread * rng.standard_normal(len(strikes))
        courses[key] = Course(
            wear.per_year + wear.per_year_spread * float(per_year),
            wear.season_spread * float(season),
            tuple(float(step) for step in steps),
        )
    return History(tuple(strikes), float(rng.random()), MappingProxyType(courses))


def aged(parameters: PlantParameters, years: float, seed: int) -> PlantParameters:
    """Return the plant as it is found `years` after commissioning, if nobody adjusted anything.

    Parameters
    ----------
    parameters
        At commissioning.
    years
        0 to 50.
    seed
        Of the history (see `history`).

    Raises
    ------
    ValueError
        Years before commissioning, or beyond fifty.
    """
    if not 0 <= years <= HORIZON_YEARS:
        raise ValueError(f"years: 0 to {HORIZON_YEARS:g}, not {years}")

    def change(key: str) -> float:
        return history(seed).change(key, years)

    def turned(key: str) -> float:
        return math.remainder(getattr(parameters, key) + change(key), 360)

    return replace(
        parameters,
        phase_error_deg=turned("phase_error_deg"),
        transmit_phase_error_deg=turned("transmit_phase_error_deg"),
        clearance_phase_error_deg=turned("clearance_phase_error_deg"),
        width_ratio=parameters.width_ratio * 10 ** (change("width_level_db") / 20),
        alignment_ddm=parameters.alignment_ddm + change("alignment_ddm"),
        tx1=_worn(parameters.tx1, "tx1", change),
        tx2=_worn(parameters.tx2, "tx2", change),
        visit=round(years * DAYS_A_YEAR),
    )


def _worn(
    given: TransmitterParameters, name: str, change: Callable[[str], float]
) -> TransmitterParameters:
    """Return a transmitter as it has become; `name` is its table."""

    def carrier(part: CarrierParameters, of: str) -> CarrierParameters:
        return replace(
            part,
            power_db=part.power_db + change(f"{name}.{of}.power_db"),
            depth_90=part.depth_90 + change(f"{name}.{of}.depth_90"),
            depth_150=part.depth_150 + change(f"{name}.{of}.depth_150"),
            carrier_error_hz=part.carrier_error_hz + change(f"{name}.{of}.carrier_error_hz"),
        )

    return replace(
        given,
        course=carrier(given.course, "course"),
        clearance=carrier(given.clearance, "clearance"),
    )
