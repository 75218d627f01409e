"""Find the stretches of a stored series in which a value stood still: `daq.frozen`, looking back.

A live reading is known to be frozen only once it has repeated itself too often; in a file the
whole stretch is seen, so all of it is left out, from its first value on.
"""

from __future__ import annotations

from collections.abc import Sequence

from daq.frozen import FrozenWatch, NoiseFloor
from daq.reading import Quality


def frozen_rows(
    values: Sequence[float], time_s: Sequence[float], floor: NoiseFloor
) -> frozenset[int]:
    """Return the numbers, from 0, of the values that stand still for longer than chance allows.

    Parameters
    ----------
    values
        As they were stored, in the order of time; any unit.
    time_s
        When each was stored, s, increasing; as many.
    floor
        The noise that is always there. `sigma` is that of what is new in a value: where each is
        smoothed together with those before, the smaller part that the smoothing lets through.
    """
    watch = FrozenWatch(floor)
    found: set[int] = set()
    first = 0
    for number, (value, at_s) in enumerate(zip(values, time_s, strict=True)):
        if value != values[first]:
            first = number
        if watch.see(repr(value), round(at_s * 1e9)) is Quality.FROZEN:
            found.update((number,) if number - 1 in found else range(first, number + 1))
    return frozenset(found)
