"""The rough part of phasing: which path to cut and by how much, the cut itself, the spare left."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from daq.roles import Action
from daq.rounding import fixed, with_doubt
from daq.station import CablePathEntry, PathName
from daq.units import format_length
from procedures.engine.undo_words import cable_words
from procedures.record.words import AGAIN, CUT_CHECKED
from procedures.steps.phasing_work import Made, Work
from procedures.trims.cable import CablePath, Cut, plan_cuts
from procedures.trims.cut_check import check_cut
from procedures.trims.phase import PhaseEstimate

STRANGE_PART: Final = 0.2
STRANGE_M: Final = 0.010
"""A length that is off the plan by more than both of these is asked for once more."""

ANSWERS: Final = 3
"""How often it is asked for before the run ends."""


def plan_cut(work: Work, key: str, phase: PhaseEstimate) -> tuple[Cut, ...]:
    """Plan how the phase is taken out, keep the plan and say it; best first."""
    phasing = work.phasing

    def path(entry: CablePathEntry, name: PathName) -> CablePath:
        return CablePath(entry.velocity_factor, work.spare_m[name], entry.velocity_factor_u)

    plan = plan_cuts(
        phase,
        frequency_hz=work.bench.station.station.frequency_hz,
        sbo=path(phasing.sbo, "sbo"),
        csb=path(phasing.csb, "csb"),
        allowance_m=phasing.allowance_m,
        fine_range_deg=phasing.fine_range_deg,
    )
    work.bench.note(
        f"{key}/plan",
        "Trim plan",
        {
            "stage": phasing.cut_stage,
            "phase_deg": phase.phase_deg,
            "cuts": [
                {
                    "path": cut.path,
                    "length_m": cut.length_m,
                    "phase_left_deg": cut.phase_left_deg,
                    "phase_left_u_deg": cut.phase_left_u_deg,
                    "fine_control_deg": cut.fine_control_deg,
                    "within_spare": cut.within_spare,
                    "note": cut.note,
                }
                for cut in plan
            ],
        },
    )
    for number, cut in enumerate(plan, start=1):
        work.bench.tell(f"Plan {number}: {_in_words(cut)}")
    return plan


def _in_words(cut: Cut) -> str:
    if cut.note:
        return f"{cut.path.upper()} path: {cut.note}."
    left = with_doubt(cut.phase_left_deg, 2.0 * cut.phase_left_u_deg, decimals=1, plus=True)
    return (
        f"shorten the {cut.path.upper()} path by {format_length(cut.length_m)}; that leaves "
        f"{left} degrees (k=2) for the fine control."
    )


def needs_cut(plan: tuple[Cut, ...]) -> bool:
    """Whether the best way begins with a cut; else the fine control does it."""
    return bool(plan) and plan[0].length_m > 0.0


def make_cut(work: Work, key: str, plan: tuple[Cut, ...], phase: PhaseEstimate) -> None:
    """Have the best cut made and keep the length really cut, to be compared with what it does.

    Parameters
    ----------
    phase
        As it was before the cut.

    Raises
    ------
    Refused
        There is not so much spare cable, or no length was entered that can be one.
    """
    best = plan[0]
    phasing = work.phasing
    if not best.within_spare:
        reasons = "; ".join(cut.note for cut in plan if cut.note)
        raise Refused(
            f"The spare cable cannot bring '{work.point.name}' into phase: {reasons}.",
            hint="make up a new cable for one of the paths, longer by what is missing.",
        )
    cable = work.cable(best.path)
    where = f"the {cable_words(cable)} path of the {phasing.cut_stage}"
    cut_m = _length_really_cut(work, f"{key}/cut", best, where)
    work.unchecked = Made(f"{key}/cut", best.path, cut_m, phase, work.spare_m[best.path])
    work.cuts.append(work.unchecked)
    work.spare_m[best.path] = max(0.0, work.spare_m[best.path] - cut_m)
    work.bench.note(
        f"{key}/cut made",
        "Cut made",
        {
            "path": cable,
            "stage": phasing.cut_stage,
            "planned_m": best.length_m,
            "cut_m": cut_m,
            "spare_left_m": work.spare_m[best.path],
        },
    )
    centre_fine_control(work, f"{key}/centre")


def _length_really_cut(work: Work, key: str, best: Cut, where: str) -> float:
    """Have the cut made and return the length that was entered, asked again if it is strange."""
    planned = format_length(best.length_m)
    cut_m = work.bench.number(
        key,
        f"Shorten {where} by {planned}, refit the connector, and enter the length really cut.",
        unit="m",
        suggestion=best.length_m,
        action=Action(
            "cut",
            {
                "path": work.cable(best.path),
                "stage": work.phasing.cut_stage,
                "length_m": best.length_m,
            },
        ),
    )
    if not _is_strange(cut_m, best, work.spare_m[best.path]):
        return cut_m
    for attempt in range(1, ANSWERS + 1):
        # Nothing is to be done with the hands, so the question carries no action.
        cut_m = work.bench.number(
            f"{key}/{AGAIN} {attempt}",
            f"{format_length(cut_m)} was entered as cut from {where}; asked for was {planned}, and "
            f"{format_length(work.spare_m[best.path])} was to spare. Measure the piece that came "
            "off and enter the length really cut once more; 0 m if nothing was cut.",
            unit="m",
        )
        if cut_m >= 0.0:
            return cut_m
    raise _no_length(where)


def _no_length(where: str) -> Refused:
    return Refused(
        f"No length of {where} was entered that can have been cut.",
        hint="measure the piece that came off, note it, and begin again.",
    )


def _is_strange(cut_m: float, best: Cut, spare_m: float) -> bool:
    """Say whether a length is so far from what was asked for that it may be a slip of the key."""
    off_m = abs(cut_m - best.length_m)
    far = off_m > STRANGE_M and off_m > STRANGE_PART * best.length_m
    return cut_m < 0.0 or cut_m > spare_m or far


def check_last_cut(work: Work, key: str, phase: PhaseEstimate) -> None:
    """Compare the phase that is read now with the one that the last cut should have made."""
    if work.unchecked is None:
        return
    made, work.unchecked = work.unchecked, None
    phasing = work.phasing
    entry = phasing.sbo if made.path == "sbo" else phasing.csb
    check = check_cut(
        made.before,
        phase,
        path=made.path,
        cut_m=made.cut_m,
        cable=CablePath(entry.velocity_factor, None, entry.velocity_factor_u),
        frequency_hz=work.bench.station.station.frequency_hz,
    )
    work.bench.note(
        f"{key}/cut check",
        CUT_CHECKED,
        {
            "path": work.cable(made.path),
            "cut_m": made.cut_m,
            "as_if_m": check.as_if_m,
            "expected_deg": check.expected_deg,
            "found_deg": check.found_deg,
            "difference_u_deg": check.u_deg,
            "agrees": check.agrees,
        },
    )
    if check.agrees:
        return
    less = "less" if check.as_if_m < made.cut_m else "more"
    work.bench.tell(
        f"CAUTION: the phase is not what a cut of {format_length(made.cut_m)} makes: expected "
        f"{fixed(check.expected_deg, 1, plus=True)}°, found "
        f"{fixed(check.found_deg, 1, plus=True)}° ± {fixed(2 * check.u_deg, 1)}° (k=2), as if "
        f"{format_length(check.as_if_m)} had been cut. Either {less} was cut than entered, or "
        "another line; look before the next cut."
    )
    _correct(work, made)


def _correct(work: Work, made: Made) -> None:
    """Have the length entered that was really cut, so that the spare is right from here on.

    Raises
    ------
    Refused
        No length was entered that can be one.
    """
    where = f"the {cable_words(work.cable(made.path))} path"
    for attempt in range(1, ANSWERS + 1):
        cut_m = work.bench.number(
            f"{made.key}/{AGAIN} afterwards{f' {attempt}' if attempt > 1 else ''}",
            f"Measure the piece that came off {where} and look at the line. "
            f"{format_length(made.cut_m)} was entered; enter the length really cut.",
            unit="m",
            suggestion=made.cut_m,
        )
        if cut_m >= 0.0:
            work.spare_m[made.path] = max(0.0, made.spare_m - cut_m)
            return
    raise _no_length(where)


def centre_fine_control(work: Work, key: str) -> None:
    """Have the fine control brought to where cuts are computed for."""
    control = work.phasing.fine_control
    work.fine_moved = False
    work.bench.require(
        key,
        f"Set the fine control '{control}' to the middle of its travel.",
        action=Action("centre control", {"control": control}),
    )
