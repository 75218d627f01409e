"""Print the limits of a category, each with its source and how sure that is."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Annotated

import typer

from procedures.commands.output import JsonOption, finite
from procedures.limit_tables import Category, Facility, LimitKind, LimitRow, limits_for

limits_app = typer.Typer()


@limits_app.command()
def limits(
    category: Annotated[Category, typer.Option(help="Facility performance category.")],
    facility: Annotated[Facility, typer.Option(help="Which table.")] = "localizer",
    kind: Annotated[
        LimitKind | None, typer.Option(help="Only limits of one kind; all by default.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Print the limits of a category, each with its source and how it is known.

    The numbers serve this tool's judgements. The documents themselves, and the authority, decide.
    """
    rows = limits_for(facility, category, kind=kind)
    if as_json:
        typer.echo(json.dumps(finite({"limits": [asdict(row) for row in rows]})))
        return
    for row in rows:
        typer.echo(f"{row.name}{' (recommended)' if row.recommended else ''}")
        typer.echo(f"    {_interval(row)}; {', '.join(row.kinds)}")
        typer.echo(f"    {_origin(row)}")
        if row.note:
            typer.echo(f"    {row.note}")


def _origin(row: LimitRow) -> str:
    """Return where the row comes from and how it is known, each said once."""
    source = ", ".join(part for part in (row.source, row.section) if part)
    return row.status if row.status.startswith(source) else f"{source}: {row.status}"


def _interval(row: LimitRow) -> str:
    unit = "" if row.unit == "1" else f" {row.unit}"
    nominal = "" if row.nominal is None else f", nominal {row.nominal:g}{unit}"
    if row.low is None and row.high is None:
        return f"no interval{nominal}"
    if row.low is None:
        return f"at most {row.high:g}{unit}{nominal}"
    if row.high is None:
        return f"at least {row.low:g}{unit}{nominal}"
    return f"{row.low:g} to {row.high:g}{unit}{nominal}"
