"""The rough part of phasing: which path to cut and by how much, the cut itself, the spare left."""

from __future__ import annotations

from daq.errors import Refused
from daq.roles import Action
from daq.station import CablePathEntry, PathName
from daq.units import format_length
from procedures.steps.phasing_work import Work, named
from procedures.trims.cable import CablePath, Cut, plan_cuts
from procedures.trims.phase import PhaseEstimate


def plan_cut(work: Work, key: str, phase: PhaseEstimate) -> tuple[Cut, ...]:
    """Plan how the phase is taken out, keep the plan and say it; best first."""
    phasing = work.phasing

    def path(entry: CablePathEntry, name: PathName) -> CablePath:
        return CablePath(velocity_factor=entry.velocity_factor, spare_m=work.spare_m[name])

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
    return (
        f"shorten the {cut.path.upper()} path by {format_length(cut.length_m)}; that leaves "
        f"{cut.phase_left_deg:+.1f}° ± {2 * cut.phase_left_u_deg:.1f}° (k=2) for the fine control."
    )


def needs_cut(plan: tuple[Cut, ...]) -> bool:
    """Whether the best way begins with a cut; else the fine control does it."""
    return bool(plan) and plan[0].length_m > 0.0


def make_cut(work: Work, key: str, plan: tuple[Cut, ...]) -> None:
    """Have the best cut made and keep the length really cut.

    Raises
    ------
    Refused
        There is not so much spare cable.
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
    where = f"the {named(cable)} path of the {phasing.cut_stage}"
    cut_m = work.bench.number(
        f"{key}/cut",
        f"Shorten {where} by {format_length(best.length_m)}, refit the connector, and enter the "
        "length really cut.",
        unit="m",
        suggestion=best.length_m,
        action=Action(
            "cut",
            {"path": cable, "stage": phasing.cut_stage, "length_m": best.length_m},
        ),
    )
    work.cuts.append(cut_m)
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


def centre_fine_control(work: Work, key: str) -> None:
    """Have the fine control brought to where cuts are computed for."""
    control = work.phasing.fine_control
    work.fine_moved = False
    work.bench.require(
        key,
        f"Set the fine control '{control}' to the middle of its travel.",
        action=Action("centre control", {"control": control}),
    )
