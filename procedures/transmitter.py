"""Transmitter: each of one or two measured at its own sockets, judged, and compared.

Nothing is adjusted here. What is out is found before the field is looked at.
"""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from daq.roles import Action
from procedures.engine.bench import Bench
from procedures.steps.preconditions import preconditions
from procedures.steps.transmitter_alike import compare_transmitters
from procedures.steps.transmitter_checks import Found, check_transmitter

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""

IN_USE: Final = 1
"""The transmitter that feeds the antennas when the work is done."""


def transmitter(bench: Bench) -> None:
    """Measure and judge every transmitter of the station.

    Raises
    ------
    Refused
        The station file describes none, a record cannot be measured, or what was changed for a
        measurement is not changed back.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    table = bench.station.transmitter
    if table is None:
        raise Refused(
            "The station file has no table [transmitter].",
            hint="name each carrier's sockets and what a power meter shows there.",
        )
    preconditions(bench)
    if bench.station.station.transmitters == 1:
        check_transmitter(bench, table, IN_USE)
        return
    back = Action("select transmitter", {"number": float(IN_USE)})
    found: list[Found] = []
    with bench.false_guidance(
        "transmitter", "it is not said that the transmitter in use feeds the antennas", back
    ):
        for number in (1, 2):
            bench.require(
                f"transmitter {number}/select",
                f"Let transmitter {number} feed the antennas.",
                action=Action("select transmitter", {"number": float(number)}),
            )
            found.append(check_transmitter(bench, table, number))
        bench.require(
            "transmitter/back", f"Let transmitter {IN_USE} feed the antennas again.", action=back
        )
    compare_transmitters(bench, table, *found)
