"""Compare two instruments that look at the same signal."""

from __future__ import annotations

import math
from typing import Final

from procedures.engine.bench import Bench
from procedures.show import said_value

COVERAGE: Final = 2.0
"""Coverage factor of the difference (JCGM 100:2008, 6.3.3)."""


def compare_instruments(bench: Bench) -> None:
    """Read every pair of ``[[comparisons]]`` and report a disagreement beyond uncertainty.

    A disagreement does not end the run: it says that one of the two instruments, or one of the two
    connections, is not what it seems, and stands on the record.
    """
    for number, pair in enumerate(bench.station.comparisons, start=1):
        key = f"comparison/{number}"
        first = bench.measure(f"{key}/first", pair.first, label="comparison")
        second = bench.measure(f"{key}/second", pair.second, label="comparison")
        difference = second.value - first.value
        u = math.hypot(first.u, second.u)
        agree = abs(difference) <= COVERAGE * u
        bench.note(
            f"{key}/result",
            "Comparison of instruments",
            {
                "first": pair.first,
                "second": pair.second,
                "first_source": first.source,
                "second_source": second.source,
                "quantity": first.quantity,
                "difference": difference,
                "u": u,
                "agree": agree,
            },
        )
        words = (
            f"'{pair.first}' by {first.source} and '{pair.second}' by {second.source}: "
            f"{said_value(first.quantity, first.value)} and "
            f"{said_value(second.quantity, second.value)}"
        )
        if agree:
            bench.tell(f"{words}. They agree within their uncertainties.")
        else:
            bench.tell(
                f"{words}. They DISAGREE by {abs(difference):.4f}, beyond {COVERAGE * u:.4f} "
                "(k=2): find out which one is wrong before trusting either."
            )
