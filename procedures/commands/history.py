"""Commands over a station's years: references, trends, what is due, exports, the station book."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from daq.errors import InputError
from procedures.commands.guard import chain_warnings, check_outputs, kept_files, warn
from procedures.commands.lines import say
from procedures.commands.options import StationOption, station_path
from procedures.commands.output import JsonOption, finite

if TYPE_CHECKING:
    from daq.station import Station
    from procedures.history.due import DueItem
    from procedures.history.trend import Trend

history_app = typer.Typer()


@history_app.command("fix-references")
def fix_references(
    run_number: Annotated[int, typer.Argument(metavar="RUN", help="A run that finished.")],
    signed_by: Annotated[
        str, typer.Option("--signed-by", help='The role that answers for them: "site engineer".')
    ],
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fix what a finished run left as the station's reference values, as a new version."""
    from daq.clock import SystemClock
    from daq.log.owner import open_station_log, open_station_log_for_writing
    from procedures.history import references
    from procedures.history.reference_remarks import remarks_on

    described = _station(station)
    # Also so that the writer makes no empty log where there is none.
    with open_station_log(described) as reader:
        warnings = remarks_on(reader, run_number)
    with open_station_log_for_writing(described, SystemClock()) as writer:
        fixed = references.fix_references(writer, described, run_number, signed_by)
    warn(warnings, as_json=as_json)
    if as_json:
        values = {n: {"value": r.value, "u": r.u, "unit": r.unit} for n, r in fixed.values.items()}
        _print_json(
            {
                "version": fixed.version,
                "run": fixed.run,
                "signed_by": fixed.signed_by,
                "supersedes": fixed.supersedes,
                "values": values,
                "warnings": list(warnings),
            }
        )
        return
    typer.echo(f"Reference values, version {fixed.version}, from run {fixed.run}:")
    _print_rows([[name, str(reference)] for name, reference in fixed.values.items()])
    typer.echo(f"In force from now on; fixed by: {fixed.signed_by}.")


@history_app.command()
def trend(
    parameter: Annotated[
        str, typer.Argument(help="One parameter, such as 'course width'; all when left out.")
    ] = "",
    station: StationOption = None,
    plot: Annotated[
        Path | None,
        typer.Option(help="Draw the parameter's trend, or all on one page: .svg or .png."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show drifts, steps and the day on which limits will be left; the most urgent first."""
    from daq.clock import SystemClock
    from daq.log.owner import open_station_log
    from procedures.history.series import find_parameter
    from procedures.history.trend import make_trends
    from procedures.history.trend_words import as_data

    described = _station(station)
    check_outputs(kept_files(described), plot)
    with open_station_log(described) as reader:
        warnings = chain_warnings(reader)
        now_ns = SystemClock().utc_ns()
        trends = make_trends(reader, described, now_ns)
    if parameter:
        chosen = find_parameter((item.parameter for item in trends), parameter)
        trends = tuple(item for item in trends if item.parameter == chosen)
    if plot is not None:
        _draw_trends(trends, described, plot, now_ns, one=bool(parameter))
    warn(warnings, as_json=as_json)
    if as_json:
        listed = [as_data(item, with_visits=bool(parameter)) for item in trends]
        drawn = None if plot is None else str(plot)
        _print_json({"trends": listed, "plot": drawn, "warnings": warnings})
        return
    _print_trends(trends, with_visits=bool(parameter))
    if plot is not None:
        typer.echo(f"Plot  {plot}")


@history_app.command()
def due(
    station: StationOption = None,
    ics: Annotated[Path | None, typer.Option("--ics", help="Also write an iCalendar file.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List what is due: routine work by its intervals, and the instruments' calibrations."""
    from daq.clock import SystemClock
    from procedures.history.calendar_file import write_calendar
    from procedures.history.due import due_at
    from procedures.history.model import day_of

    described = _station(station)
    check_outputs(kept_files(described), ics)
    now_ns = SystemClock().utc_ns()
    items = due_at(described, day_of(now_ns))
    warnings = _chain_warnings_of(described)
    if ics is not None:
        write_calendar(items, described.station, ics, now_utc_ns=now_ns)
    warn(warnings, as_json=as_json)
    if as_json:
        listed = [_due_data(item) for item in items]
        written = None if ics is None else str(ics)
        _print_json({"due": listed, "ics": written, "warnings": warnings})
        return
    _print_rows(
        [
            [
                item.due.isoformat() if item.due else "no date",
                item.state,
                item.name if item.kind == "routine" else f"calibration of {item.name}",
                f"last {item.last}" if item.last else "",
                item.source,
            ]
            for item in items
        ]
    )
    if ics is not None:
        typer.echo(f"Calendar  {ics}")


@history_app.command()
def export(
    station: StationOption = None,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write all readings as CSV.")] = None,
    parquet: Annotated[
        Path | None, typer.Option("--parquet", help="Write all readings as Parquet.")
    ] = None,
    columns: Annotated[bool, typer.Option("--columns", help="Say what each column is.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write all readings of a station's log as CSV (safe in a spreadsheet) or Parquet."""
    from daq.log.owner import open_station_log
    from procedures.history.export import COLUMNS, write_all_csv, write_all_parquet

    if columns:
        if as_json:
            _print_json({"columns": dict(COLUMNS)})
        else:
            _print_rows([[name, meaning] for name, meaning in COLUMNS.items()])
        return
    if csv is None and parquet is None:
        raise InputError("Nothing to write.", hint="give --csv FILE, --parquet FILE or both.")
    described = _station(station)
    check_outputs(kept_files(described), csv, parquet)
    written = {}
    with open_station_log(described) as reader:
        warnings = chain_warnings(reader)
        if csv is not None:
            written[str(csv)] = write_all_csv(reader, csv)
        if parquet is not None:
            written[str(parquet)] = write_all_parquet(reader, parquet)
    warn(warnings, as_json=as_json)
    if as_json:
        _print_json({"written": written, "warnings": warnings})
        return
    for path, readings in written.items():
        typer.echo(f"{readings} readings  {path}")


@history_app.command()
def book(
    first: Annotated[str, typer.Option("--from", help="First day: 2027-01-01.")],
    last: Annotated[str, typer.Option("--to", help="Last day, included: 2027-12-31.")],
    station: StationOption = None,
    folder: Annotated[
        Path | None, typer.Option(help="Where to put it; beside the log by default.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make the station book of a period: its runs, its work, and every parameter's trend."""
    from daq.clock import SystemClock
    from daq.log.owner import open_station_log
    from procedures.history.book import Period, write_book

    period = Period(_day(first), _day(last))
    described = _station(station)
    log = described.log_path
    stem = re.sub(r"[^A-Za-z0-9._-]+", "-", log.stem)
    path = (folder or log.parent) / f"{stem}-book-{period.first}-{period.last}.pdf"
    check_outputs(kept_files(described), path)
    with open_station_log(described) as reader:
        write_book(reader, described, period, path, now_utc_ns=SystemClock().utc_ns())
        warnings = chain_warnings(reader)
    warn(warnings, as_json=as_json)
    if as_json:
        _print_json({"pdf": str(path), "warnings": warnings})
        return
    typer.echo(f"Book  {path}")


def _station(given: Path | None) -> Station:
    from daq.station import load_station

    return load_station(station_path(given))


def _chain_warnings_of(station: Station) -> list[str]:
    from daq.log.owner import open_station_log

    if not station.log_path.is_file():
        return []
    with open_station_log(station) as reader:
        return chain_warnings(reader)


def _draw_trends(
    trends: Sequence[Trend], station: Station, path: Path, now_utc_ns: int, *, one: bool
) -> None:
    from procedures.history.model import day_of
    from procedures.history.plot import write_plot
    from procedures.history.plot_page import write_page

    if one:
        write_plot(trends[0], path)
        return
    whose = station.station
    heading = f"{whose.name}, runway {whose.runway}, {whose.ident}: trends on {day_of(now_utc_ns)}"
    write_page(trends, heading, path)


def _print_trends(trends: Sequence[Trend], *, with_visits: bool) -> None:
    from procedures.history.trend import SAID
    from procedures.history.trend_words import (
        EXPLANATION,
        difference_words,
        drift_words,
        leaves_words,
        limit_words,
        newest_words,
        remarks,
        visit_rows,
    )

    if not trends:
        typer.echo("Nothing was measured as found yet.")
        return
    for item in trends:
        typer.echo(f"{item.parameter.name}: {SAID[item.attention]}")
        _print_rows(
            [
                ["newest", f"{newest_words(item)}, limit {limit_words(item)}"],
                ["from reference", difference_words(item)],
                ["drift a year", drift_words(item)],
                ["leaves limits", leaves_words(item.leaves)],
                *(["", words] for words in remarks(item)),
            ],
            indent="    ",
        )
        if with_visits:
            head = ["day", "run", "as found", "as left", "from reference", ""]
            _print_rows([head, *visit_rows(item)])
    typer.echo("")
    for line in EXPLANATION:
        say(f"- {line}")


def _due_data(item: DueItem) -> dict[str, object]:
    return {
        "kind": item.kind,
        "name": item.name,
        "procedure": item.procedure,
        "last": None if item.last is None else item.last.isoformat(),
        "due": None if item.due is None else item.due.isoformat(),
        "state": item.state,
        "source": item.source,
    }


def _day(text: str) -> date:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()  # noqa: DTZ007 - a day has no zone
    except ValueError as error:
        raise InputError(f"'{text}' is no day.", hint="write it as 2027-01-31.") from error


def _print_rows(rows: Sequence[Sequence[str]], *, indent: str = "") -> None:
    """Print aligned columns; a row whose last cell is empty is left out."""
    shown = [row for row in rows if any(cell for cell in row[1:])]
    widths = [max(len(row[i]) for row in shown) for i in range(len(shown[0]))] if shown else []
    for row in shown:
        cells = (f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True))
        typer.echo((indent + "  ".join(cells)).rstrip())


def _print_json(data: Mapping[str, object]) -> None:
    typer.echo(json.dumps(finite(data), allow_nan=False, ensure_ascii=False))
