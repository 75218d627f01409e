"""Print a result: aligned lines for people, one JSON object for programs."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

import typer

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
ExplainOption = Annotated[
    bool, typer.Option("--explain", help="Print the formula and what it takes for granted.")
]


@dataclass(frozen=True, slots=True)
class Output:
    """A result in both shapes.

    Attributes
    ----------
    data
        What a program gets.
    lines
        Label and text, what a person reads.
    explain
        Formula, assumptions and sources, one a line.
    """

    data: Mapping[str, object]
    lines: Sequence[tuple[str, str]]
    explain: Sequence[str]


def show(output: Output, *, as_json: bool, explain: bool) -> None:
    """Print `output` on standard output."""
    if as_json:
        data = dict(output.data)
        if explain:
            data["explain"] = list(output.explain)
        typer.echo(json.dumps(finite(data), allow_nan=False, ensure_ascii=False))
        return
    width = max((len(label) for label, _ in output.lines), default=0)
    for label, text in output.lines:
        typer.echo(f"{label:<{width}}  {text}".rstrip())
    if explain:
        typer.echo("")
        for line in output.explain:
            typer.echo(f"- {line}")


def finite(value: object) -> object:
    """Return `value` with every infinite or undefined number in it as None: JSON has neither."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    return value
