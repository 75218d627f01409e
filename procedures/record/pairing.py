"""Pair the measurements of a run: as found and as left, a line for each state of each point.

Two readings of one point are comparable only in the same state: with the quadrature line in, or
at the wide alarm, a point reads something else on purpose. The state is told from the label under
which the procedure measured.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from procedures.record.model import AdjustmentLine, FoundLeft, Measured
from procedures.record.words import VOID

PART: Final = "traverse, "
"""How the label of a reading begins that only serves a result computed from many."""

AT_ALARM: Final = "at the wide alarm"
AROUND_PROFILE: Final = "before and after the profile"
_NORMAL: Final = frozenset({"as found", "as left", "width", "captured"})
_PROFILE: Final = frozenset({"profile", "wide alarm"})
_AROUND: Final = frozenset({"normal", "profile removed", "normal restored"})
_ROUND: Final = re.compile(r", round \d+")


def state_of(line: Measured) -> str:
    """Return the state in which a point was measured; empty for its normal state."""
    words, rounds = _ROUND.subn("", line.label)
    if words in _NORMAL or (words == "normal" and rounds):
        return ""
    if words in _AROUND:
        return AROUND_PROFILE
    return AT_ALARM if words in _PROFILE else words


def summarise(
    measured: Iterable[Measured], adjustments: Iterable[AdjustmentLine]
) -> tuple[FoundLeft, ...]:
    """Return the first and the last measurement of each point in each state, in order.

    At the wide alarm nothing was found: that state is made, and only what was left in it counts.
    A reading on a traverse is no line: what the traverse shows is. Nor is one that said nothing
    and was taken again.
    """
    groups: dict[tuple[str, str], list[Measured]] = {}
    for line in measured:
        if line.label.startswith((PART, VOID)):
            continue
        groups.setdefault((line.measurement.point, state_of(line)), []).append(line)
    turned = {adjustment.key for adjustment in adjustments}
    return tuple(
        _pair(point, state, lines, any(line.key in turned for line in lines))
        for (point, state), lines in groups.items()
    )


def _pair(point: str, state: str, lines: list[Measured], adjusted: bool) -> FoundLeft:
    if state == AT_ALARM:
        return FoundLeft(point, state, None, lines[-1], adjusted)
    left = lines[-1] if len(lines) > 1 else None
    return FoundLeft(point, state, lines[0], left, adjusted)
