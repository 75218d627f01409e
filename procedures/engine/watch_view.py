"""What is shown of a watch after each reading, and when its quantity counts as settled."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from daq.reading import Reading
from daq.roles import WatchView
from daq.steadiness import Watch
from procedures.history.references import Reference

SETTLE_FRACTION: Final = 0.5
"""Share of a band (or of a quantity's own settle value) that may still move over the window."""

SETTLE: Final[Mapping[str, float]] = {"ddm": 0.0005, "vpp": 0.01}
"""Change over the window below which a quantity counts as settled, SI; else 1 per cent."""


def settle_for(quantity: str, target: float | None, band: float | None) -> float:
    """Return the change over the window below which a quantity counts as settled, SI."""
    if band is not None:
        return SETTLE_FRACTION * band
    return SETTLE.get(quantity, max(0.01 * abs(target or 0.0), 1e-6))


def view_of(
    watch: Watch,
    reading: Reading,
    *,
    key: str,
    instruction: str,
    control: str,
    band: float | None,
    reference: Reference | None = None,
) -> WatchView:
    """Return what is shown of `watch` after `reading`.

    Parameters
    ----------
    reference
        Of what is watched; shown only where it is of the very quantity that was read.
    """
    trend = watch.trend
    known = reference if reference and reference.quantity == reading.quantity else None
    return WatchView(
        key=key,
        instruction=instruction,
        control=control,
        reading=reading,
        shown=watch.shown,
        target=watch.target,
        band=band,
        steady=watch.steady,
        slope_per_s=trend.slope_per_s if trend else 0.0,
        rate_hz=watch.rate_hz,
        best=watch.best,
        count=watch.count,
        elapsed_s=watch.elapsed_s,
        reference=known.value if known else None,
    )
