"""The trims that read files: a traverse, a clearance check, a set of cables."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from daq.channels import parse_carrier_hz
from daq.errors import InputError
from daq.units import (
    Kind,
    format_length,
    parse,
    parse_angle_deg,
    parse_length_m,
)
from procedures.commands.output import ExplainOption, JsonOption, Output, show
from procedures.judge import Rule
from procedures.trims.cable import FarEnd

if TYPE_CHECKING:
    from procedures.trims.cableset import CableMatch
    from procedures.trims.clearance import SectorMinimum
    from procedures.trims.traverse import TraverseFit

TraverseFile = Annotated[
    Path, typer.Argument(help="CSV with offset_m or angle_deg, ddm, and perhaps u_ddm.")
]
DrivenFile = Annotated[
    Path,
    typer.Argument(
        help="CSV with offset_m or angle_deg, ddm, and perhaps u_ddm; or a receiver's own log."
    ),
]
DistanceText = Annotated[
    str | None, typer.Option(help="Localizer antenna to the line of the traverse.")
]


def traverse(
    file: DrivenFile,
    *,
    distance: DistanceText = None,
    log: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=VALUE",
            help="The file is a receiver's log: a key of receiver_log, such as ddm_unit=uA.",
        ),
    ] = None,
    station: Annotated[
        Path | None,
        typer.Option(
            help="The file is a log as the course table of this station file describes it."
        ),
    ] = None,
    track: Annotated[
        Path | None, typer.Option(help="NMEA 0183 text with the positions of the same drive.")
    ] = None,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Fit a traverse: alignment, displacement sensitivity, half widths, symmetry."""
    from procedures.commands.trim_drive import DRIVEN, LogOptions, fit_drive
    from procedures.trims.traverse import LINEAR_DDM, fit_traverse
    from procedures.trims.traverse_file import read_traverse

    distance_m = None if distance is None else parse_length_m(distance)
    options = LogOptions(log or (), station, track)
    driven = fit_drive(file, options, distance_m) if options.given else None
    fit = driven.fit if driven else fit_traverse(read_traverse(file), distance_m=distance_m)
    show(
        Output(
            _fit_data(fit) | ({"log": driven.data()} if driven else {}),
            _fit_lines(fit) + (driven.lines() if driven else []),
            [
                f"line fitted by weighted least squares to the unbroken run with |DDM| <= "
                f"{LINEAR_DDM} around the course line: {fit.points_used} of {fit.points_given} "
                "points",
                "positions positive to the right of an approaching aircraft, where 150 Hz "
                "predominates",
                "half widths: 0.155 DDM over the slope of each side, by a line with a bend at its "
                "zero",
                "uncertainties by u_ddm where the file has it, else from the scatter about the "
                "line; full covariance; readings taken as independent",
                *(DRIVEN if driven else ()),
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


def clearance(
    file: TraverseFile,
    *,
    distance: DistanceText = None,
    rule: Annotated[Rule, typer.Option(help="Acceptance rule.")] = "simple",
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Find the least clearance in each sector of a wide traverse, on both sides."""
    from procedures.trims.clearance import check_clearance
    from procedures.trims.traverse_file import read_traverse

    distance_m = None if distance is None else parse_length_m(distance)
    check = check_clearance(read_traverse(file), distance_m=distance_m, rule=rule)
    data = {
        "sectors": [_sector_data(sector) for sector in check.sectors],
        "missing": list(check.missing),
        "reached_deg": {"90": check.reached_deg[0], "150": check.reached_deg[1]},
        "warnings": list(check.warnings),
    }
    lines = [(f"{sector.side} Hz side", _sector_text(sector)) for sector in check.sectors]
    lines += [("missing", text) for text in check.missing]
    lines += [("warning", text) for text in check.warnings]
    show(
        Output(
            data,
            lines,
            [
                "not less than 0.180 DDM from where 0.180 is first reached to 10 degrees, not less "
                "than 0.155 from 10 to 35 degrees (Annex 10, 3.1.3.7.3: read in secondary texts)",
                "DDM is counted towards the tone of its side; between readings nothing is known",
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


def match(  # noqa: PLR0913 - each parameter is one option of the command
    files: Annotated[list[Path], typer.Argument(help="Touchstone sweeps, .s1p or .s2p.")],
    *,
    frequency: Annotated[str, typer.Option(help="Carrier, such as 109.35 MHz.")],
    far_end: Annotated[FarEnd, typer.Option(help="Far end in .s1p sweeps.")] = "open",
    velocity_factor: Annotated[
        str | None, typer.Option(help="For cables whose length is not given.")
    ] = None,
    length: Annotated[
        list[str] | None, typer.Option(help="Physical length, once a file, in their order.")
    ] = None,
    allowance: Annotated[str, typer.Option(help="Left on at each cut.")] = "0 m",
    analyser_u: Annotated[
        str, typer.Option(help="Standard uncertainty of the analyser's phase.")
    ] = "0.5 deg",
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Match a set of cables to its electrically shortest, from sweeps."""
    from procedures.trims.cableset import EXCESS_LOSS_DB, MAX_RIPPLE_DB, match_cables
    from procedures.trims.sweep import measure_sweep, read_sweep

    lengths = _lengths(length, len(files))
    frequency_hz = parse_carrier_hz(frequency)
    cables = [
        measure_sweep(
            read_sweep(file, far_end=far_end),
            frequency_hz,
            physical_m=physical_m,
            u_analyser_deg=parse_angle_deg(analyser_u),
        )
        for file, physical_m in zip(files, lengths, strict=True)
    ]
    matches = match_cables(
        cables,
        frequency_hz,
        velocity_factor=None if velocity_factor is None else parse(velocity_factor, Kind.RATIO),
        allowance_m=parse_length_m(allowance),
    )
    show(
        Output(
            {"cables": [_match_data(one) for one in matches]},
            [(one.cable.name, _match_text(one)) for one in matches],
            [
                "electrical length: phase unwrapped, straight line over the sweep, read at the "
                "carrier; a reflection passes the cable twice",
                "uncertainty: distance of the phase from that line, not averaged down because "
                f"ripple is no noise, and {analyser_u} of the analyser",
                f"looks damaged: loss {EXCESS_LOSS_DB} dB above the middle of the set, or ripple "
                f"beyond {MAX_RIPPLE_DB} dB (common practice, no source)",
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


def _fit_data(fit: TraverseFit) -> dict[str, object]:
    data = asdict(fit)
    suffix = "m" if fit.axis == "offset_m" else "deg"
    data[f"alignment_{suffix}"] = data.pop("alignment")
    data[f"alignment_u_{suffix}"] = data.pop("alignment_u")
    if fit.course_width_deg is None:
        del data["course_width_deg"], data["course_width_deg_u"]
    return data


def _fit_lines(fit: TraverseFit) -> list[tuple[str, str]]:
    unit = "m" if fit.axis == "offset_m" else "deg"
    lines = [
        ("alignment", f"{fit.alignment:+.3f} {unit}, uncertainty {fit.alignment_u:.3f} {unit}"),
        ("sensitivity", f"{fit.sensitivity:.6f} DDM/{unit}, uncertainty {fit.sensitivity_u:.6f}"),
        ("half widths", f"left {fit.half_width_left:.3f}, right {fit.half_width_right:.3f} {unit}"),
        ("symmetry", f"{fit.symmetry_percent:.1f} % left"),
    ]
    if fit.course_width_deg is not None:
        lines.append(
            (
                "course width",
                f"{fit.course_width_deg:.3f} deg, uncertainty {fit.course_width_deg_u:.3f} deg",
            )
        )
    return lines + [("warning", text) for text in fit.warnings]


def _sector_data(sector: SectorMinimum) -> dict[str, object]:
    return {
        "side": sector.side,
        "reached_deg": sector.reached_deg,
        "from_deg": sector.from_deg,
        "to_deg": sector.to_deg,
        "lowest_ddm": sector.lowest_ddm,
        "at_deg": sector.at_deg,
        "points": sector.points,
        "limit_ddm": sector.judgement.limit.low,
        "verdict": str(sector.judgement.verdict),
        "margin_u": sector.judgement.margin_u,
    }


def _sector_text(sector: SectorMinimum) -> str:
    return (
        f"{sector.searched}: lowest {sector.lowest_ddm:.4f} at "
        f"{sector.at_deg:+.1f} deg, limit {sector.judgement.limit.low:g}: "
        f"{sector.judgement.verdict}"
    )


def _match_data(one: CableMatch) -> dict[str, object]:
    return {
        **asdict(one.cable),
        "velocity_factor": one.velocity_factor,
        "excess_deg": one.excess_deg,
        "excess_u_deg": one.excess_u_deg,
        "cut_m": one.cut_m,
        "cut_in": one.cut_in,
        "error_left_deg": one.error_left_deg,
        "damaged": list(one.damaged),
    }


def _match_text(one: CableMatch) -> str:
    damaged = f"; LOOKS DAMAGED: {', '.join(one.damaged)}" if one.damaged else ""
    return (
        f"{one.cable.delay_deg:.1f} deg, loss {one.cable.loss_db:.2f} dB, "
        f"{one.excess_deg:+.1f} deg beyond the shortest (uncertainty {one.excess_u_deg:.1f}): cut "
        f"{format_length(one.cut_m)}, leaves {one.error_left_deg:+.1f} deg{damaged}"
    )


def _lengths(given: list[str] | None, count: int) -> list[float | None]:
    if not given:
        return [None] * count
    if len(given) != count:
        raise InputError(
            f"{len(given)} lengths were given for {count} files.",
            hint="give --length once for each file, in the order of the files.",
        )
    return [parse_length_m(text) for text in given]
