"""Phase SBO against its carrier with a quarter-wave line, set the width, and prove both.

One normal and one quadrature reading give the phase on the whole circle, the sense included, so
one cut does what a rough cut, a fine trim and a half-wave cut did. The fine control takes the
rest with the line in; the width is set with the line out; because the two controls touch each
other, the null is verified again after each change until both hold.

The same steps phase the transmitter, out in the field, and the monitor's return lines; where the
width is not set at that point the null and the sense are all that has to hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from daq.errors import InputError, Refused
from daq.measurement import Measurement
from daq.rounding import with_doubt
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result, Verdict
from procedures.record.words import AGAIN
from procedures.show import said, said_value
from procedures.steps.carriers import carrier_off
from procedures.steps.phasing_cut import (
    centre_fine_control,
    check_last_cut,
    make_cut,
    needs_cut,
    plan_cut,
)
from procedures.steps.phasing_width import bring_to_width
from procedures.steps.phasing_work import Work, ask_again, is_surely_in, quarter_wave_line
from procedures.steps.setting import judge_setting, say_out
from procedures.trims.cable import Cut
from procedures.trims.phase import PhaseEstimate, in_the_far_field, phase_from_readings

PAIRS: Final = 5
"""Pairs of readings that may say nothing before the procedure gives up."""


@dataclass(frozen=True, slots=True)
class Phased:
    """What phasing ended with.

    Attributes
    ----------
    quadrature, normal
        The last readings with the line in and out.
    rounds
        How many rounds it took.
    cuts
        How many cuts were made.
    """

    quadrature: Measurement
    normal: Measurement
    rounds: int
    cuts: int


def phase_and_width(bench: Bench, name: str) -> Phased:
    """Bring the point of ``[phasing.NAME]`` into phase and, if that is set there, to its width.

    Raises
    ------
    Refused
        The spare cable cannot do it, a control does not reach, or the null and the width do not
        hold together within the station's number of rounds.
    """
    phasing = bench.station.phasing.get(name)
    if phasing is None:
        raise Refused(
            f"The station file has no table [phasing.{name}].",
            hint="describe the paths, the line and the fine control there.",
        )
    work = Work(
        bench=bench,
        key=f"phasing/{name}",
        phasing=phasing,
        point=bench.station.point(phasing.point),
        spare_m={"sbo": phasing.sbo.spare_m, "csb": phasing.csb.spare_m},
    )
    if phasing.switched_off is None:
        return _rounds(work)
    with carrier_off(bench, f"{work.key}/alone", phasing.switched_off):
        return _rounds(work)


def _rounds(work: Work) -> Phased:
    """Go round until both hold, and judge the phase that is left."""
    centre_fine_control(work, f"{work.key}/centre")
    for number in range(1, work.phasing.max_rounds + 1):
        done = _round(work, number)
        if done is not None:
            _judge_phase(work, done)
            return done
    what = "null and the width" if work.phasing.set_width else "null and the sense"
    raise Refused(
        f"After {work.phasing.max_rounds} rounds the {what} of '{work.point.name}' do not "
        "hold together.",
        hint="look for a loose connector, a control that drifts, or a cable that moves.",
    )


@dataclass(frozen=True, slots=True)
class _LineIn:
    """What came of one pair of readings: the phase, how it is mended, whether the null holds."""

    quadrature: Measurement
    phase: PhaseEstimate
    plan: tuple[Cut, ...]
    held: bool


def _round(work: Work, number: int) -> Phased | None:
    """Do one round; return the result when both null and width hold, None to go on."""
    key = f"{work.key}/round {number}"
    line_in = _with_line(work, key, number)
    if needs_cut(line_in.plan):
        # A cut is computed for a fine control in the middle; where it stands now nobody measured.
        if work.fine_moved or work.fine_may_be_away:
            centre_fine_control(work, f"{key}/centre")
        else:
            make_cut(work, key, line_in.plan, line_in.phase)
        return None
    width = bring_to_width(work, key)
    if not line_in.held or width.changed:
        return None
    return Phased(line_in.quadrature, width.reading, rounds=number, cuts=len(work.cuts))


def _with_line(work: Work, key: str, number: int) -> _LineIn:
    """Read the pair, again while it says nothing and the technician wants to look."""
    attempt = 0
    while True:
        this = f"{key}/{AGAIN} {attempt}" if attempt else key
        again = f"{key}/{AGAIN} {attempt + 1}" if attempt + 1 < PAIRS else ""
        line_in = _pair(work, this, number, again=again)
        if line_in is not None:
            return line_in
        attempt += 1


def _pair(work: Work, key: str, number: int, *, again: str) -> _LineIn | None:
    """Read once without and once with the line, and null; None to read both again.

    `again` is the step in which that is asked; empty where it is not asked any more.
    """
    bench, point = work.bench, work.point.name
    if work.fine_may_be_away:
        # The run was taken up before a turn of it, which no outcome that holds tells of.
        centre_fine_control(work, f"{key}/centre first")
    normal = bench.measure(f"{key}/normal", point, label=f"normal, round {number}")
    with quarter_wave_line(work, f"{key}/line"):
        quadrature = bench.measure(f"{key}/quadrature", point, label=f"quadrature, round {number}")
        try:
            phase = _estimate(work, normal, quadrature)
        except InputError as nothing:
            ask_again(work, key, again, nothing)
            return None
        bench.tell(f"Without the line {said(normal)}; with it {said(quadrature)}.")
        if again and not is_surely_in(work, key, normal, quadrature):
            return None
        _tell_phase(work, key, phase)
        check_last_cut(work, key, phase)
        target = work.null_target(phase)
        held = _null_verdict(work, f"{key}/quadrature/verdict", quadrature, target)
        plan = () if held and not phase.reversed else plan_cut(work, key, phase)
        if plan and not needs_cut(plan):
            quadrature = _null_live(work, key, quadrature, target)
            held = _null_verdict(work, f"{key}/null/verdict", quadrature, target)
            if not held:
                say_out(bench, quadrature, work.null_limit(target))
    return _LineIn(quadrature, phase, plan, held)


def _estimate(work: Work, normal: Measurement, quadrature: Measurement) -> PhaseEstimate:
    phasing = work.phasing
    found = phase_from_readings(
        normal.value,
        quadrature.value,
        wanted_tone=phasing.wanted_tone,
        line_in=phasing.line_in,
        line_angle_deg=phasing.line_angle_deg,
        line_loss_db=phasing.line_loss_db,
        u_normal=normal.u,
        u_quadrature=quadrature.u,
        u_line_angle_deg=phasing.line_angle_u_deg,
        u_line_loss_db=phasing.line_loss_u_db,
    )
    return in_the_far_field(found, phasing.place_phase_deg, phasing.place_phase_u_deg)


def _judge_phase(work: Work, done: Phased) -> None:
    """Judge what phase is left, where the station says how much may be."""
    accepted_deg = work.phasing.accepted_phase_deg
    if accepted_deg is None:
        return
    left = _estimate(work, done.normal, done.quadrature)
    limit = Limit(
        low=-accepted_deg,
        high=accepted_deg,
        unit="deg",
        name=f"{work.point.name}: phase of SBO against CSB",
        source="station file",
        status="station file",
    )
    result = Result("phase", left.phase_deg, left.u_deg, work.point.name)
    work.bench.judge(f"{work.key}/phase left", f"{work.point.name}, phase left", result, limit)


def _tell_phase(work: Work, key: str, phase: PhaseEstimate) -> None:
    phasing = work.phasing
    work.bench.note(
        f"{key}/phase",
        "Phase of SBO against CSB",
        {
            "phase_deg": phase.phase_deg,
            "u_deg": phase.u_deg,
            **({"place_phase_deg": phasing.place_phase_deg} if phasing.place_phase_deg else {}),
            "reversed": phase.reversed,
            "ddm_in_phase": phase.ddm_in_phase,
            "warnings": list(phase.warnings),
        },
    )
    size = with_doubt(abs(phase.phase_deg), 2.0 * phase.u_deg, decimals=1)
    work.bench.tell(
        f"SBO {'leads' if phase.phase_deg >= 0 else 'lags'} by {size} degrees (k=2); the sense is "
        f"{'reversed' if phase.reversed else 'right'}."
    )


def _null_live(work: Work, key: str, before: Measurement, target: float) -> Measurement:
    work.fine_moved = True
    wanted = f" to {said_value('ddm', target)}" if target else ""
    return work.bench.adjust(
        f"{key}/null",
        work.point.name,
        target=target,
        band=work.phasing.null,
        control=work.phasing.fine_control,
        instruction=(
            f"{'Bring' if target else 'Null'} '{work.point.name}'{wanted} with "
            f"'{work.phasing.fine_control}'."
        ),
        before=before,
    ).after


def _null_verdict(work: Work, key: str, quadrature: Measurement, target: float) -> bool:
    limit = work.null_limit(target)
    judged = judge_setting(work.bench, key, "quadrature", quadrature, limit)
    return judged.verdict is Verdict.IN_TOLERANCE
