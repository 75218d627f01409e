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

from daq.errors import Refused
from daq.measurement import Measurement
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result, Verdict
from procedures.show import said, said_value
from procedures.steps.carriers import carrier_off
from procedures.steps.phasing_cut import centre_fine_control, make_cut, needs_cut, plan_cut
from procedures.steps.phasing_work import Work, quarter_wave_line
from procedures.steps.setting import adjust_until_set, judge_setting
from procedures.trims.level import level_change
from procedures.trims.phase import PhaseEstimate, in_the_far_field, phase_from_readings


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


def _round(work: Work, number: int) -> Phased | None:
    """Do one round; return the result when both null and width hold, None to go on."""
    key = f"{work.key}/round {number}"
    normal = work.bench.measure(f"{key}/normal", work.point.name, label=f"normal, round {number}")
    with quarter_wave_line(work, f"{key}/line"):
        quadrature = work.bench.measure(
            f"{key}/quadrature", work.point.name, label=f"quadrature, round {number}"
        )
        phase = _phase(work, key, normal, quadrature)
        target = work.null_target(phase)
        held = _null_verdict(work, f"{key}/quadrature/verdict", quadrature, target)
        plan = () if held and not phase.reversed else plan_cut(work, key, phase)
        if plan and not needs_cut(plan):
            quadrature = _null_live(work, key, quadrature, target)
            held = _null_verdict(work, f"{key}/null/verdict", quadrature, target)
    if needs_cut(plan):
        # A cut is computed for a fine control in the middle; where it stands now nobody measured.
        if work.fine_moved:
            centre_fine_control(work, f"{key}/centre")
        else:
            make_cut(work, key, plan)
        return None
    width = _width(work, key)
    if not held or width.changed:
        return None
    return Phased(quadrature=quadrature, normal=width.reading, rounds=number, cuts=len(work.cuts))


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


def _phase(work: Work, key: str, normal: Measurement, quadrature: Measurement) -> PhaseEstimate:
    phasing = work.phasing
    phase = _estimate(work, normal, quadrature)
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
    work.bench.tell(
        f"SBO {'leads' if phase.phase_deg >= 0 else 'lags'} by {abs(phase.phase_deg):.1f}° "
        f"± {2 * phase.u_deg:.1f}° (k=2); the sense is "
        f"{'reversed' if phase.reversed else 'right'}."
    )
    return phase


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


@dataclass(frozen=True, slots=True)
class _Width:
    reading: Measurement
    changed: bool


def _width(work: Work, key: str) -> _Width:
    """Check the sense with the line out, and set the width if it is to be and is not right."""
    reading = work.bench.measure(f"{key}/width", work.point.name, label="width")
    _check_sense(work, reading)
    if not work.phasing.set_width:
        return _Width(reading, changed=False)
    limit = work.width_limit
    verdict = judge_setting(work.bench, f"{key}/width/verdict", "width", reading, limit).verdict
    if verdict is Verdict.IN_TOLERANCE:
        return _Width(reading, changed=False)
    change = level_change(reading.value, work.point.target or 0.0, u_reading=reading.u)
    work.bench.note(
        f"{key}/width/trim",
        "Level trim",
        {"change_db": change.change_db, "u_db": change.u_db, "control": work.point.control},
    )
    work.bench.tell(
        f"The width wants {change.change_db:+.2f} dB ({change.change_percent:+.1f} %) "
        f"with '{work.point.control}'."
    )
    left = adjust_until_set(work.bench, f"{key}/width", work.point, reading, limit)
    return _Width(left, changed=True)


def _check_sense(work: Work, reading: Measurement) -> None:
    wanted = 1.0 if work.phasing.wanted_tone == 150 else -1.0
    if reading.value * wanted <= 0.0:
        raise Refused(
            f"With the quadrature nulled, '{work.point.name}' reads {said(reading)}: the sense is "
            "reversed although the two readings said otherwise.",
            hint="check which path the line was in and which tone is wanted, then begin again.",
        )
