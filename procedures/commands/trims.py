"""``trimbench trim …``: every trim as a command, over the functions that the procedures call."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from daq.errors import UnitError
from daq.reading import IMPOSSIBLE_DDM, UA_PER_DDM
from daq.rounding import fixed
from daq.units import Kind, format_ddm, parse, parse_ddm, parse_length_m, parse_percent
from procedures.commands.output import ExplainOption, JsonOption, Output, show
from procedures.commands.trim_files import clearance, match, traverse
from procedures.commands.trim_phase import DdmText, cable, half_wave
from procedures.limit_tables import Category, find_limit
from procedures.trims.alarm import (
    AlarmBasis,
    AlarmPoints,
    alarm_points,
    course_shift_alarm,
    power_alarm_db,
)
from procedures.trims.level import level_change
from procedures.trims.width import course_width

trim_app = typer.Typer(
    no_args_is_help=True, help="Compute a trim: cable, level, alarm, width, traverse, cable set."
)
trim_app.command("cable")(cable)
trim_app.command("half-wave")(half_wave)
trim_app.command("traverse")(traverse)
trim_app.command("clearance")(clearance)
trim_app.command("match")(match)


@trim_app.command("level")
def level(
    *,
    reading: Annotated[str, typer.Option(help="What is read: a DDM or a voltage.")],
    target: Annotated[str, typer.Option(help="What is wanted, of the same kind.")],
    reading_u: Annotated[
        str | None, typer.Option(help="Standard uncertainty of the reading.")
    ] = None,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Tell the change of level, in dB and per cent, that takes a reading to its target."""
    kind = _amplitude_kind(reading)
    u_reading = 0.0 if reading_u is None else parse(reading_u, kind)
    change = level_change(parse(reading, kind), parse(target, kind), u_reading=u_reading)
    u_db = None if reading_u is None else change.u_db
    text = (
        f"{_db(change.change_db)} ({fixed(change.change_percent, 1, plus=True)} % of the amplitude)"
    )
    show(
        Output(
            {
                "change_db": change.change_db,
                "change_percent": change.change_percent,
                "change_u_db": u_db,
            },
            [
                ("change", text),
                *([] if u_db is None else [("uncertainty", f"{fixed(u_db, 2)} dB")]),
            ],
            [
                "change = 20 log10(target / reading) dB",
                "taken for granted: the control scales the amplitude, and DDM is proportional to "
                "the SBO amplitude (first order; good to a few per cent up to 0.3 DDM)",
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


@trim_app.command("alarm")
def alarm(
    *,
    nominal: DdmText = "0.155",
    percent: Annotated[str, typer.Option(help="Change at which the alarm is due.")] = "17 %",
    basis: Annotated[
        AlarmBasis, typer.Option(help="What the per cent are taken of.")
    ] = "sensitivity",
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Tell the wide and narrow alarm points and the SBO change for each."""
    points = alarm_points(parse_ddm(nominal), parse_percent(percent), basis)
    warnings = _beyond_use(points)
    show(
        Output(
            {**asdict(points), "basis": basis, "warnings": warnings},
            [
                ("wide alarm", f"{format_ddm(points.wide_ddm)}, SBO {_db(points.wide_db)}"),
                ("narrow alarm", f"{format_ddm(points.narrow_ddm)}, SBO {_db(points.narrow_db)}"),
                *[("warning", warning) for warning in warnings],
            ],
            [
                "sensitivity: DDM x (1 - p) wide, x (1 + p) narrow (Annex 10, Attachment C 2.9.2: "
                "the angular width follows inversely)",
                "width: DDM / (1 + p) wide, / (1 - p) narrow",
                f"here: of {basis}; the two give different numbers, the station says which holds",
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


@trim_app.command("width")
def width(
    *,
    distance: Annotated[str, typer.Option(help="Localizer antenna to threshold.")],
    half_width: Annotated[
        str, typer.Option(help="Course line to the 0.155 point at the threshold.")
    ] = "105 m",
    distance_u: Annotated[str, typer.Option(help="Its standard uncertainty.")] = "1 m",
    point_b: Annotated[
        bool, typer.Option("--point-b", help="Beyond 6 degrees, tailor at ILS point B instead.")
    ] = False,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Tell the course width that the distance to the threshold asks for."""
    found = course_width(
        parse_length_m(distance),
        half_width_m=parse_length_m(half_width),
        point_b=point_b,
        u_distance_m=parse_length_m(distance_u),
    )
    limited = " (limited to 6 degrees)" if found.limited else ""
    show(
        Output(
            asdict(found),
            [
                ("course width", f"{fixed(found.course_width_deg, 3)} deg{limited}"),
                ("uncertainty", f"{fixed(found.course_width_u_deg, 4)} deg, of the distance alone"),
                ("sensitivity", f"{fixed(found.sensitivity_per_m, 6)} DDM/m at the threshold"),
            ],
            [
                "width = 2 atan(half width / distance), not more than 6 degrees",
                f"half width here: {found.half_width_m:g} m; in use are 105 m (default), "
                "106.68 m (350 ft) and 106.897 m (0.155 / 0.00145), 1.8 % apart",
                "with --point-b: where that is more than 6 degrees, 1050 m is added to the "
                "distance (category I, runway codes 1 and 2; read in a secondary text)",
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


@trim_app.command("course-shift")
def course_shift(
    *,
    category: Annotated[Category, typer.Option(help="Facility performance category.")],
    sensitivity: Annotated[
        str, typer.Option(help="Displacement sensitivity at the threshold, DDM per metre.")
    ] = "0.00145",
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Tell the DDM on the course line at which a shifted course has to raise the alarm."""
    row = find_limit("localizer", category, "alarm_course_shift_m")
    limit_ddm = 0.0
    if category == "I":
        limit_ddm = find_limit("localizer", category, "alarm_course_shift_ddm").high or 0.0
    found = course_shift_alarm(
        row.high or 0.0, parse(sensitivity, Kind.SENSITIVITY), limit_ddm=limit_ddm or None
    )
    show(
        Output(
            {
                **asdict(found),
                "alarm_ua": found.alarm_ddm * UA_PER_DDM,
                "distance_m": row.high,
                "source": row.limit().source,
                "status": row.status,
            },
            [("alarm at", format_ddm(found.alarm_ddm)), ("decided by", found.decided_by)],
            [
                f"lateral distance of {row.high:g} m x displacement sensitivity, or the "
                "category's DDM limit where that is stricter",
                f"{row.limit().source}: {row.status}",
            ],
        ),
        as_json=as_json,
        explain=explain,
    )


@trim_app.command("power")
def power(
    *,
    percent: Annotated[
        str | None, typer.Option(help="Of normal power; default: the limit of the standard.")
    ] = None,
    carriers: Annotated[int, typer.Option(min=1, max=2, help="One or two carriers.")] = 2,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Tell by how many dB a carrier's power has to fall to raise the alarm."""
    row = find_limit(
        "localizer", "I", "alarm_power_dual" if carriers == 2 else "alarm_power_single"
    )
    part = 100.0 * (row.low or 0.0) if percent is None else parse_percent(percent)
    change_db = power_alarm_db(part)
    where = [f"{row.limit().source}: {row.status}"] if percent is None else []
    show(
        Output(
            {"change_db": change_db, "percent": part},
            [("power alarm", f"{_db(change_db)} ({part:g} % of normal)")],
            ["change = 10 log10(power / normal power) dB", *where],
        ),
        as_json=as_json,
        explain=explain,
    )


def _db(change_db: float) -> str:
    return f"{fixed(change_db, 2, plus=True)} dB"


def _beyond_use(points: AlarmPoints) -> list[str]:
    """Return what no receiver can show of the alarm points, in words."""
    if abs(points.narrow_ddm) <= IMPOSSIBLE_DDM:
        return []
    return [
        f"the narrow alarm lies beyond {IMPOSSIBLE_DDM} DDM, where a tone's depth has folded: no "
        "receiver shows it"
    ]


def _amplitude_kind(text: str) -> Kind:
    """Return voltage where the text has such a unit, else DDM."""
    try:
        parse(text, Kind.VOLTAGE)
    except UnitError:
        return Kind.DDM
    return Kind.VOLTAGE
