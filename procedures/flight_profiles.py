"""Flight-inspection profiles: each set, verified, held for the flight, noted, and removed."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from procedures.engine.bench import Bench
from procedures.steps.flight_profile import fly_profile
from procedures.steps.preconditions import guidance_preconditions

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def flight_profiles(bench: Bench) -> None:
    """Go through ``[[flight_profiles]]`` in their order.

    Raises
    ------
    Refused
        The station file describes none, one cannot be set, or what was normal does not come back.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    profiles = bench.station.flight_profiles
    if not profiles:
        raise Refused(
            "The station file has no [[flight_profiles]].",
            hint="name each profile, its kind, and the points and controls that set it.",
        )
    guidance_preconditions(bench)
    for profile in profiles:
        fly_profile(bench, profile)
