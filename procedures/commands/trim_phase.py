"""The trims of phase and cable: from two readings to a cut, and half a wavelength."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

import typer

from daq.channels import parse_carrier_hz
from daq.errors import InputError
from daq.reading import describe_ddm
from daq.rounding import fixed, with_doubt
from daq.units import (
    METRES_PER_INCH,
    Kind,
    format_length,
    parse,
    parse_angle_deg,
    parse_ddm,
    parse_length_m,
    parse_level_db,
)
from procedures.commands.output import ExplainOption, JsonOption, Output, show
from procedures.trims.cable import COVERAGE, CablePath, Cut, half_wave_m, plan_cuts, wavelength_m
from procedures.trims.phase import FeedPath, PhaseEstimate, Tone, phase_from_readings

ToneName = Literal["90", "150"]

DdmText = Annotated[str, typer.Option(help="DDM: 0.118, 11.8 % or 114 uA; positive = 150 Hz.")]
FrequencyText = Annotated[str, typer.Option(help="Carrier, such as 109.35 MHz.")]
FactorText = Annotated[str, typer.Option(help="Velocity factor of the cable, such as 0.82.")]


def cable(  # noqa: PLR0913 - each parameter is one option of the command
    *,
    normal: DdmText,
    quadrature: DdmText,
    wanted_tone: Annotated[ToneName, typer.Option(help="Tone that has to predominate.")],
    line_in: Annotated[FeedPath, typer.Option(help="Path that the line was put into.")],
    frequency: FrequencyText,
    velocity_factor: FactorText,
    normal_tone: Annotated[
        ToneName | None, typer.Option(help="Tone that predominated; then --normal is a size.")
    ] = None,
    quadrature_tone: Annotated[
        ToneName | None, typer.Option(help="Likewise for --quadrature.")
    ] = None,
    csb_velocity_factor: Annotated[
        str | None, typer.Option(help="Where the CSB path is of another cable.")
    ] = None,
    velocity_factor_u: Annotated[str, typer.Option(help="Its standard uncertainty.")] = "0",
    sbo_spare: Annotated[str | None, typer.Option(help="What SBO has to spare.")] = None,
    csb_spare: Annotated[str | None, typer.Option(help="What CSB has to spare.")] = None,
    allowance: Annotated[str, typer.Option(help="Left on for the connector.")] = "10 mm",
    line_angle: Annotated[str, typer.Option(help="Electrical length of the line.")] = "90 deg",
    line_loss: Annotated[str, typer.Option(help="Loss of the line.")] = "0 dB",
    reading_u: Annotated[str, typer.Option(help="Standard uncertainty, each reading.")] = "0.001",
    line_angle_u: Annotated[str, typer.Option(help="Standard uncertainty.")] = "1 deg",
    line_loss_u: Annotated[str, typer.Option(help="Standard uncertainty.")] = "0 dB",
    fine_range: Annotated[
        str, typer.Option(help="Travel of the fine phase control, stop to stop; 0 = none.")
    ] = "0 deg",
    fine_now: Annotated[
        str, typer.Option(help="Where it stands from the middle, positive = SBO advanced.")
    ] = "0 deg",
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Find phase and sense from a normal and a quadrature reading, and what to cut."""
    tone: Tone = 150 if wanted_tone == "150" else 90
    phase = phase_from_readings(
        _signed_ddm("normal", normal, normal_tone),
        _signed_ddm("quadrature", quadrature, quadrature_tone),
        wanted_tone=tone,
        line_in=line_in,
        line_angle_deg=parse_angle_deg(line_angle),
        line_loss_db=parse_level_db(line_loss),
        u_normal=parse_ddm(reading_u),
        u_quadrature=parse_ddm(reading_u),
        u_line_angle_deg=parse_angle_deg(line_angle_u),
        u_line_loss_db=parse_level_db(line_loss_u),
    )
    factor_u = parse(velocity_factor_u, Kind.RATIO)
    frequency_hz = parse_carrier_hz(frequency)
    cuts = plan_cuts(
        phase,
        frequency_hz=frequency_hz,
        sbo=_path(velocity_factor, sbo_spare, factor_u),
        csb=_path(csb_velocity_factor or velocity_factor, csb_spare, factor_u),
        allowance_m=parse_length_m(allowance),
        fine_range_deg=parse_angle_deg(fine_range),
        fine_now_deg=parse_angle_deg(fine_now),
    )
    data = {
        "phase_deg": phase.phase_deg,
        "phase_u_deg": phase.u_deg,
        "reversed": phase.reversed,
        "ddm_in_phase": phase.ddm_in_phase,
        "cuts": [asdict(cut) for cut in cuts],
        "warnings": list(phase.warnings),
    }
    lines = [*_phase_lines(phase), *[("cut", _cut_text(cut)) for cut in cuts]]
    show(
        Output(data, lines, [*_CABLE_EXPLAIN, _leave_on_text(allowance, reading_u, line_angle_u)]),
        as_json=as_json,
        explain=explain,
    )


def half_wave(
    *,
    frequency: FrequencyText,
    velocity_factor: FactorText,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Tell half a wavelength in the cable: the cut that mends a reversed sense."""
    frequency_hz, factor = parse_carrier_hz(frequency), parse(velocity_factor, Kind.RATIO)
    half_m = half_wave_m(frequency_hz, factor)
    whole_m = wavelength_m(frequency_hz, factor)
    show(
        Output(
            {
                "half_wave_m": half_m,
                "half_wave_in": half_m / METRES_PER_INCH,
                "wavelength_m": whole_m,
                "m_per_deg": whole_m / 360.0,
            },
            [
                ("half a wavelength", format_length(half_m)),
                ("one degree", f"{fixed(whole_m / 0.36, 2)} mm"),
            ],
            ["wavelength in the cable = velocity factor x 299 792 458 m/s / frequency"],
        ),
        as_json=as_json,
        explain=explain,
    )


_CABLE_EXPLAIN = (
    "normal N = D cos(phase); line in SBO: Q = g D cos(phase - angle); line in CSB: "
    "Q = (D/g) cos(phase + angle); g = 10^(-loss/20); phase by atan2 on the whole circle",
    "phase: positive = SBO leads; D carries the sign of the wanted predominance",
    "shortening SBO advances it, shortening CSB retards SBO; a turn is one wavelength in the cable",
    "taken for granted: DDM proportional to SBO (to 5 % at 0.4 DDM, exact at a null), one velocity "
    "factor along the path",
)


def _leave_on_text(allowance: str, reading_u: str, line_angle_u: str) -> str:
    return (
        f"a first cut leaves on {allowance}, or twice the uncertainty of phase and length together "
        f"where that is more; standard uncertainties: {reading_u} DDM each reading, {line_angle_u} "
        "the line, and that of the velocity factor times the length"
    )


def _signed_ddm(name: str, text: str, tone: ToneName | None) -> float:
    value = parse_ddm(text)
    if tone is None:
        return value
    if value < 0.0 and tone == "150":
        raise InputError(
            f"--{name} is {text}, which says 90 Hz, and --{name}-tone says 150 Hz.",
            hint="give the size and the tone, or a signed DDM alone (positive = 150 Hz).",
        )
    return abs(value) if tone == "150" else -abs(value)


def _path(factor: str, spare: str | None, factor_u: float) -> CablePath:
    spare_m = None if spare is None else parse_length_m(spare)
    return CablePath(parse(factor, Kind.RATIO), spare_m, factor_u)


def _phase_lines(phase: PhaseEstimate) -> list[tuple[str, str]]:
    leads = "SBO leads" if phase.phase_deg > 0.0 else "SBO lags"
    sense = "reversed" if phase.reversed else "right"
    return [
        ("phase", f"{_doubtful_deg(phase.phase_deg, phase.u_deg)} ({leads})"),
        ("sense", sense),
        ("in phase", describe_ddm(phase.ddm_in_phase)),
        *[("warning", warning) for warning in phase.warnings],
    ]


def _cut_text(cut: Cut) -> str:
    kept_m = cut.exact_m - cut.length_m
    kept = f", {fixed(1e3 * kept_m, 0)} mm left on" if cut.length_m else ""
    left = f"leaves {_doubtful_deg(cut.phase_left_deg, cut.phase_left_u_deg)}"
    turn = fixed(cut.fine_control_deg, 1, plus=True)
    fine = f", fine control {turn} deg" if cut.fine_control_deg else ""
    note = f" - {cut.note}" if cut.note else ""
    return f"{cut.path.upper()} by {format_length(cut.length_m)}{kept}, {left}{fine}{note}"


def _doubtful_deg(phase_deg: float, u_deg: float) -> str:
    """Return an angle with its expanded uncertainty: ``-4.4 ± 4.5 deg (k=2)``."""
    angle = with_doubt(phase_deg, COVERAGE * u_deg, decimals=1, plus=True)
    return f"{angle} deg (k={COVERAGE:g})" if "±" in angle else f"{angle} deg"
