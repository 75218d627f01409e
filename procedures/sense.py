"""Check the sense of every receiver of the station, with a known predominance."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from daq.roles import InstrumentClass
from procedures.engine.bench import Bench
from procedures.steps.sense_check import Sense, sense_check

VERSION: Final = 1
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def check_sense(bench: Bench) -> None:
    """Run the sense check on each navigation receiver, at its first point of DDM.

    Raises
    ------
    Refused
        There is no receiver with such a point, or the sense of one is not right.
    Aborted, BenchError
        As every procedure.
    """
    places = _places(bench)
    if not places:
        raise Refused("No navigation receiver of this station has a point at which it reads ddm.")
    found = {alias: sense_check(bench, alias, point) for alias, point in places.items()}
    wrong = [f"'{alias}' is {sense}" for alias, sense in found.items() if sense is not Sense.RIGHT]
    if wrong:
        raise Refused(
            f"The sense of {', '.join(wrong)}.",
            hint="look at positive_tone in the profile, and at the instrument's sign setting.",
        )


def _places(bench: Bench) -> dict[str, str]:
    places: dict[str, str] = {}
    for entry in bench.station.instruments:
        if entry.instrument_class is not InstrumentClass.NAVIGATION_RECEIVER:
            continue
        for point in bench.station.points:
            if point.instrument == entry.alias and point.quantity == "ddm":
                places.setdefault(entry.alias, point.name)
    return places
