"""One carrier switched off, so that the other can be measured alone; and on again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from daq.roles import Action
from daq.station import CarrierName
from procedures.engine.bench import Bench


@contextmanager
def carrier_off(bench: Bench, key: str, carrier: CarrierName) -> Iterator[None]:
    """Have a carrier switched off for the block, remind of it, and see it on again.

    When the block is left by an error the reminder stays: whoever ends the run still has to see
    the carrier on.

    Raises
    ------
    Refused
        It was not done.
    """
    on = Action("switch carrier", {"carrier": carrier, "state": "on"})
    with bench.false_guidance(
        key, f"the {carrier} carrier is switched off; the radiated guidance is false", on
    ):
        bench.require(
            f"{key}/off",
            f"Switch the {carrier} carrier off, CSB and SBO, at the transmitter in use.",
            action=Action("switch carrier", {"carrier": carrier, "state": "off"}),
        )
        yield
        bench.require(
            f"{key}/on",
            f"Switch the {carrier} carrier on again.",
            action=on,
        )
