"""What the first page has to say of the verdicts: by which rule, how surely, and what was reversed.

Two rules stand beside each other in one run. A setting is judged by the reading itself (simple
acceptance): a technician sets what the receiver shows. A limit of the facility is judged by the
station's rule. So a setting can be in tolerance while its uncertainty is larger than the band, and
whoever signs has to see that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from procedures.record.figures import COVERAGE
from procedures.record.model import FoundLeft, NoteLine, Record, Verdict

IN_TOLERANCE: Final = "in tolerance"
SIMPLE: Final = "simple"

UNPROVEN: Final = "uncertainty exceeds the band"
REVERSED: Final = "SENSE REVERSED"


def last_verdict(line: FoundLeft) -> Verdict | None:
    """Return the worst that was said of the last measurement of a line; None when nothing was."""
    last = line.left or line.found
    return None if last is None else last.worst


def is_unproven(verdict: Verdict) -> bool:
    """Say whether the expanded uncertainty is larger than the accepted distance from the middle."""
    if verdict.low is None or verdict.high is None or not math.isfinite(verdict.u):
        return False
    return COVERAGE * verdict.u > (verdict.high - verdict.low) / 2.0


def found_reversed(line: FoundLeft, notes: Sequence[NoteLine]) -> bool:
    """Say whether the sense was reversed as found.

    The phase that the run computed from that very reading tells it; where none was, the limit of
    the line tells which tone is right, if it lies on one side of zero, and the wrong one has to
    predominate beyond its uncertainty.
    """
    found, judged = line.found, last_verdict(line)
    if found is None or line.variant:
        return False
    step = found.key.rpartition("/")[0]
    if any(note.key.rpartition("/")[0] == step and note.body.get("reversed") for note in notes):
        return True
    if judged is None or judged.quantity != "ddm":
        return False
    was = found.measurement
    return _side(judged) * was.value < 0.0 and abs(was.value) > COVERAGE * was.u


def how_judged(record: Record) -> str:
    """Return sentences on the verdicts of the summary and on what was found reversed."""
    turned = [
        f"'{line.point}' was found with its sense reversed."
        for line in record.summary
        if found_reversed(line, record.notes)
    ]
    verdicts = [verdict for verdict in map(last_verdict, record.summary) if verdict is not None]
    if not verdicts:
        return " ".join(turned)
    good = sum(verdict.verdict == IN_TOLERANCE for verdict in verdicts)
    parts = [f"{good} of {len(verdicts)} judged lines below end in tolerance."]
    parts.append(_by_rule(verdicts, record.header.acceptance))
    unproven = sum(is_unproven(v) for v in verdicts if v.verdict == IN_TOLERANCE)
    if unproven:
        parts.append(
            f"In {unproven} of these the expanded uncertainty exceeds the band: the reading lies "
            "in it, and the value itself is not proven to."
        )
    return " ".join(part for part in (*parts, *turned) if part)


def _by_rule(verdicts: Sequence[Verdict], acceptance: str) -> str:
    """Return which of the verdicts are of settings, where the station's own rule is another."""
    settings = sum(verdict.rule == SIMPLE for verdict in verdicts)
    if not settings or acceptance == SIMPLE:
        return ""
    how = "judged by the reading itself (simple acceptance)"
    if settings == len(verdicts):
        return f"All are settings, {how}."
    what = "is a setting" if settings == 1 else "are settings"
    rule = f"the station's rule ({acceptance or 'not known'})"
    return f"{settings} of them {what}, {how}, the others by {rule}."


def acceptance_words(acceptance: str) -> str:
    """Return by what rules a run judges; empty when its station's rule is not known."""
    if not acceptance:
        return ""
    return (
        f"{acceptance} for limits of the facility, which is the station's rule; simple for "
        "settings, by the reading itself"
    )


def _side(verdict: Verdict) -> float:
    """Return 1 for an interval above zero, -1 for one below, 0 where it says no sense."""
    if verdict.low is not None and verdict.low > 0.0:
        return 1.0
    if verdict.high is not None and verdict.high < 0.0:
        return -1.0
    return 0.0
