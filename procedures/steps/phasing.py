"""Phase SBO against its carrier with a quarter-wave line, set the width, and prove both.

One normal and one quadrature reading give the phase on the whole circle, the sense included, so
one cut does what a rough cut, a fine trim and a half-wave cut did. The fine control takes the
rest with the line in; the width is set with the line out; because the two controls touch each
other, the null is verified again after each change until both hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from daq.errors import Refused
from daq.measurement import Measurement
from daq.roles import Action
from daq.station import CablePathEntry, PathName, Phasing, Point
from daq.units import format_length
from procedures.bench import Bench
from procedures.judge import Limit, Verdict
from procedures.show import said
from procedures.steps.setting import adjust_until_set, around, judge_setting
from procedures.trims.cable import CablePath, Cut, plan_cuts
from procedures.trims.level import level_change
from procedures.trims.phase import PhaseEstimate, phase_from_readings


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


@dataclass
class _Work:
    """What one phasing carries from round to round."""

    bench: Bench
    key: str
    phasing: Phasing
    point: Point
    spare_m: dict[PathName, float]
    cuts: list[float] = field(default_factory=list)
    fine_moved: bool = False

    @property
    def null_limit(self) -> Limit:
        return around(
            0.0,
            self.phasing.null,
            f"{self.point.name} with the line in",
            source="common practice, no source",
        )

    @property
    def width_limit(self) -> Limit:
        if self.point.target is None:
            raise Refused(f"The point '{self.point.name}' has no target to be set to.")
        return around(self.point.target, self.phasing.width_band, self.point.name)


def phase_and_width(bench: Bench, name: str) -> Phased:
    """Bring the point of ``[phasing.NAME]`` into phase and to its width.

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
    work = _Work(
        bench=bench,
        key=f"phasing/{name}",
        phasing=phasing,
        point=bench.station.point(phasing.point),
        spare_m={"sbo": phasing.sbo.spare_m, "csb": phasing.csb.spare_m},
    )
    _centre_fine_control(work, f"{work.key}/centre")
    for number in range(1, phasing.max_rounds + 1):
        done = _round(work, number)
        if done is not None:
            return done
    raise Refused(
        f"After {phasing.max_rounds} rounds the null and the width of '{phasing.point}' do not "
        "hold together.",
        hint="look for a loose connector, a control that drifts, or a cable that moves.",
    )


def _round(work: _Work, number: int) -> Phased | None:
    """Do one round; return the result when both null and width hold, None to go on."""
    key = f"{work.key}/round {number}"
    normal = work.bench.measure(f"{key}/normal", work.point.name, label=f"normal, round {number}")
    with _line_in(work, f"{key}/line"):
        quadrature = work.bench.measure(
            f"{key}/quadrature", work.point.name, label=f"quadrature, round {number}"
        )
        phase = _phase(work, key, normal, quadrature)
        held = _null_verdict(work, f"{key}/quadrature/verdict", quadrature)
        plan = () if held and not phase.reversed else _plan(work, key, phase)
        if plan and not _needs_cut(plan):
            quadrature = _null_live(work, key, quadrature)
            held = _null_verdict(work, f"{key}/null/verdict", quadrature)
    if _needs_cut(plan):
        # A cut is computed for a fine control in the middle; where it stands now nobody measured.
        if work.fine_moved:
            _centre_fine_control(work, f"{key}/centre")
        else:
            _cut(work, key, plan)
        return None
    width = _width(work, key)
    if not held or width.changed:
        return None
    return Phased(quadrature=quadrature, normal=width.reading, rounds=number, cuts=len(work.cuts))


class _line_in:  # noqa: N801 - reads as a statement: with _line_in(...)
    """The quarter-wave line is in: ask for it, remind of it, and see it out again."""

    def __init__(self, work: _Work, key: str) -> None:
        phasing = work.phasing
        self._bench = work.bench
        self._key = key
        self._where = f"the {phasing.line_in.upper()} path at the {phasing.line_stage}"
        self._arguments = {"path": phasing.line_in, "stage": phasing.line_stage}
        self._reminder = work.bench.false_guidance(
            key, f"the quarter-wave line is in {self._where}; the radiated guidance is false"
        )

    def __enter__(self) -> None:
        self._bench.require(
            f"{self._key} in",
            f"Insert the quarter-wave line in {self._where}.",
            action=Action("insert line", self._arguments),
        )
        self._reminder.__enter__()

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if error is not None:
            # The reminder stays: whoever ends the run still has to see the line.
            return
        self._bench.require(
            f"{self._key} out",
            f"Take the quarter-wave line out of {self._where} and restore the connection.",
            action=Action("remove line", self._arguments),
        )
        self._reminder.__exit__(None, None, None)


def _phase(work: _Work, key: str, normal: Measurement, quadrature: Measurement) -> PhaseEstimate:
    phasing = work.phasing
    phase = phase_from_readings(
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
    work.bench.note(
        f"{key}/phase",
        "Phase of SBO against CSB",
        {
            "phase_deg": phase.phase_deg,
            "u_deg": phase.u_deg,
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


def _plan(work: _Work, key: str, phase: PhaseEstimate) -> tuple[Cut, ...]:
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


def _needs_cut(plan: tuple[Cut, ...]) -> bool:
    return bool(plan) and plan[0].length_m > 0.0


def _cut(work: _Work, key: str, plan: tuple[Cut, ...]) -> None:
    best = plan[0]
    phasing = work.phasing
    if not best.within_spare:
        reasons = "; ".join(cut.note for cut in plan if cut.note)
        raise Refused(
            f"The spare cable cannot bring '{work.point.name}' into phase: {reasons}.",
            hint="make up a new cable for one of the paths, longer by what is missing.",
        )
    where = f"the {best.path.upper()} path of the {phasing.cut_stage}"
    cut_m = work.bench.number(
        f"{key}/cut",
        f"Shorten {where} by {format_length(best.length_m)}, refit the connector, and enter the "
        "length really cut.",
        unit="m",
        suggestion=best.length_m,
        action=Action(
            "cut",
            {"path": best.path, "stage": phasing.cut_stage, "length_m": best.length_m},
        ),
    )
    work.cuts.append(cut_m)
    work.spare_m[best.path] = max(0.0, work.spare_m[best.path] - cut_m)
    work.bench.note(
        f"{key}/cut made",
        "Cut made",
        {
            "path": best.path,
            "stage": phasing.cut_stage,
            "planned_m": best.length_m,
            "cut_m": cut_m,
            "spare_left_m": work.spare_m[best.path],
        },
    )
    _centre_fine_control(work, f"{key}/centre")


def _centre_fine_control(work: _Work, key: str) -> None:
    control = work.phasing.fine_control
    work.fine_moved = False
    work.bench.require(
        key,
        f"Set the fine control '{control}' to the middle of its travel.",
        action=Action("centre control", {"control": control}),
    )


def _null_live(work: _Work, key: str, before: Measurement) -> Measurement:
    work.fine_moved = True
    return work.bench.adjust(
        f"{key}/null",
        work.point.name,
        target=0.0,
        band=work.phasing.null,
        control=work.phasing.fine_control,
        instruction=f"Null '{work.point.name}' with '{work.phasing.fine_control}'.",
        before=before,
    ).after


def _null_verdict(work: _Work, key: str, quadrature: Measurement) -> bool:
    judged = judge_setting(work.bench, key, "quadrature", quadrature, work.null_limit)
    return judged.verdict is Verdict.IN_TOLERANCE


@dataclass(frozen=True, slots=True)
class _Width:
    reading: Measurement
    changed: bool


def _width(work: _Work, key: str) -> _Width:
    """Check the sense with the line out, and set the width if it is not right."""
    reading = work.bench.measure(f"{key}/width", work.point.name, label="width")
    limit = work.width_limit
    _check_sense(work, reading)
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


def _check_sense(work: _Work, reading: Measurement) -> None:
    wanted = 1.0 if work.phasing.wanted_tone == 150 else -1.0
    if reading.value * wanted <= 0.0:
        raise Refused(
            f"With the quadrature nulled, '{work.point.name}' reads {said(reading)}: the sense is "
            "reversed although the two readings said otherwise.",
            hint="check which path the line was in and which tone is wanted, then begin again.",
        )
