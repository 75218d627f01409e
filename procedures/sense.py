"""Check the sense of every receiver of the station, with a known predominance."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from procedures.engine.bench import Bench
from procedures.steps.preconditions import preconditions
from procedures.steps.sense_check import Sense, places_of_proof, sense_check

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def check_sense(bench: Bench) -> None:
    """Run the sense check on each navigation receiver, found right before or not.

    Raises
    ------
    Refused
        There is no receiver with such a point, or the sense of one is not right.
    Aborted, BenchError
        As every procedure.
    """
    places = places_of_proof(bench)
    if not places:
        raise Refused("No navigation receiver of this station has a point at which it reads ddm.")
    preconditions(bench)
    found = {alias: sense_check(bench, alias, point) for alias, point in places.items()}
    wrong = [f"'{alias}' is {sense}" for alias, sense in found.items() if sense is not Sense.RIGHT]
    if wrong:
        raise Refused(
            f"The sense of {', '.join(wrong)}.",
            hint="look at positive_tone in the profile, and at the instrument's sign setting.",
        )
