"""The part of phasing with the line out: the sense, and the width where it is set at that point."""

from __future__ import annotations

from dataclasses import dataclass

from daq.errors import Refused
from daq.measurement import Measurement
from daq.rounding import fixed
from procedures.judge import Verdict
from procedures.show import said
from procedures.steps.phasing_work import Work
from procedures.steps.setting import adjust_until_set, judge_setting
from procedures.trims.level import level_change


@dataclass(frozen=True, slots=True)
class Width:
    """The point with the line out.

    Attributes
    ----------
    reading
        The last one.
    changed
        The width was turned, so that the null has to be verified again.
    """

    reading: Measurement
    changed: bool


def bring_to_width(work: Work, key: str) -> Width:
    """Check the sense with the line out, and set the width if it is to be and is not right.

    Raises
    ------
    Refused
        The sense is reversed, or the width does not come right.
    """
    reading = work.bench.measure(f"{key}/width", work.point.name, label="width")
    _check_sense(work, reading)
    if not work.phasing.set_width:
        return Width(reading, changed=False)
    limit = work.width_limit
    verdict = judge_setting(work.bench, f"{key}/width/verdict", "width", reading, limit).verdict
    if verdict is Verdict.IN_TOLERANCE:
        return Width(reading, changed=False)
    change = level_change(reading.value, work.point.target or 0.0, u_reading=reading.u)
    work.bench.note(
        f"{key}/width/trim",
        "Level trim",
        {"change_db": change.change_db, "u_db": change.u_db, "control": work.point.control},
    )
    work.bench.tell(
        f"The width wants {fixed(change.change_db, 2, plus=True)} dB "
        f"({fixed(change.change_percent, 1, plus=True)} %) "
        f"with '{work.point.control}'."
    )
    left = adjust_until_set(work.bench, f"{key}/width", work.point, reading, limit)
    return Width(left, changed=True)


def _check_sense(work: Work, reading: Measurement) -> None:
    wanted = 1.0 if work.phasing.wanted_tone == 150 else -1.0
    if reading.value * wanted <= 0.0:
        raise Refused(
            f"With the quadrature nulled, '{work.point.name}' reads {said(reading)}: the sense is "
            "reversed although the two readings said otherwise.",
            hint="check which path the line was in and which tone is wanted, then begin again.",
        )
