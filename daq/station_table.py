"""What every table of a station file is made of: frozen, strict, and written as people say it.

Values such as ``"109.35 MHz"`` or ``"1.30 m"`` become SI numbers here, through the one door that
is `daq.units`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict

from daq.errors import UnitError
from daq.units import Kind, parse


class Table(BaseModel):
    """A table of the station file: an unknown key is a fault, and nothing changes afterwards."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


def in_si(kind: Kind) -> Callable[[object], float]:
    """Return what turns a written value of `kind` into SI, for a validator."""

    def convert(value: object) -> float:
        try:
            return parse(str(value), kind)
        except UnitError as error:
            # pydantic collects ValueErrors and adds the place in the file.
            raise ValueError(error.message) from error

    return convert


LengthM = Annotated[float, BeforeValidator(in_si(Kind.LENGTH))]
FrequencyHz = Annotated[float, BeforeValidator(in_si(Kind.FREQUENCY))]
AngleDeg = Annotated[float, BeforeValidator(in_si(Kind.ANGLE))]
LevelDb = Annotated[float, BeforeValidator(in_si(Kind.LEVEL))]
Ddm = Annotated[float, BeforeValidator(in_si(Kind.DDM))]
Ratio = Annotated[float, BeforeValidator(in_si(Kind.RATIO))]
