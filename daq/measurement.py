"""A measurement: several readings of one thing, averaged, with their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Self

from daq.errors import AnswerError
from daq.reading import QUANTITIES, RESULTS, Reading


@dataclass(frozen=True, slots=True)
class Measurement:
    """The mean of several readings.

    Attributes
    ----------
    quantity, point, source
        As in `daq.reading.Reading`.
    value
        Mean, SI unit of the quantity.
    u
        Combined standard uncertainty: the scatter's part and the instrument's, same unit.
    u_scatter
        The scatter's part alone, s / sqrt(n) (JCGM 100:2008, 4.2.3): what remains in the
        difference of two measurements by the same instrument at nearly the same value.
    n
        How many readings were averaged.
    steady
        The readings had settled.
    utc_ns
        Calendar time of the last one, ns.
    """

    quantity: str
    point: str
    source: str
    value: float
    u: float
    u_scatter: float
    n: int
    steady: bool
    utc_ns: int

    @property
    def unit(self) -> str:
        """The SI unit of the quantity; that of a result where it was computed."""
        return QUANTITIES.get(self.quantity) or RESULTS[self.quantity]

    def to_body(self) -> dict[str, object]:
        """Return the JSON object that the journal keeps."""
        return asdict(self)

    @classmethod
    def from_body(cls, body: Mapping[str, object]) -> Self:
        """Return the measurement that `to_body` wrote."""
        return cls(
            quantity=str(body["quantity"]),
            point=str(body["point"]),
            source=str(body["source"]),
            value=float(str(body["value"])),
            u=float(str(body["u"])),
            u_scatter=float(str(body["u_scatter"])),
            n=int(str(body["n"])),
            steady=bool(body["steady"]),
            utc_ns=int(str(body["utc_ns"])),
        )


def combine(readings: Sequence[Reading], *, steady: bool) -> Measurement:
    """Average readings of one quantity at one point by one instrument.

    The scatter shrinks with the number of readings; the instrument's specification does not.

    Raises
    ------
    AnswerError
        None of the readings is usable; the message says what they were instead.
    """
    usable = [r for r in readings if r.usable]
    if not usable:
        last = readings[-1] if readings else None
        what = f"{last.quality} (it answered {last.raw!r})" if last else "no reading at all"
        raise AnswerError(
            f"No reading that can be averaged: {what}.",
            instrument=last.source if last else "",
            hint="check what the instrument is connected to, its range and its input level.",
        )
    values = [r.value for r in usable]
    n = len(values)
    mean = math.fsum(values) / n
    variance = math.fsum((v - mean) ** 2 for v in values) / (n - 1) if n > 1 else 0.0
    u_scatter = math.sqrt(variance / n)
    u_instrument = max(r.u for r in usable)
    last = usable[-1]
    return Measurement(
        quantity=last.quantity,
        point=last.point,
        source=last.source,
        value=mean,
        u=math.hypot(u_scatter, u_instrument),
        u_scatter=u_scatter,
        n=n,
        steady=steady,
        utc_ns=last.utc_ns,
    )
