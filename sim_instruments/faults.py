"""The fault menu: every fault by its name, and how to ask for one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from types import MappingProxyType
from typing import Final

from sim_instruments.fault_model import Fault
from sim_instruments.link_faults import (
    AnswerHalf,
    AnswerLate,
    Chatter,
    Dribble,
    DropLink,
    Echo,
    GarbageBytes,
    PowerCycle,
    Silence,
    StolenBytes,
    StopReading,
    WrongBaudRate,
)
from sim_instruments.value_faults import (
    ErrorInQueue,
    FrozenValue,
    NoiseBurst,
    Says,
    StaleValue,
    WrongSign,
    WrongUnit,
)

_ALL: Final[tuple[type[Fault], ...]] = (
    DropLink, AnswerLate, AnswerHalf, Silence, Dribble, StopReading, Chatter, GarbageBytes,
    WrongBaudRate, Echo, StolenBytes, StaleValue, FrozenValue, WrongUnit, WrongSign, NoiseBurst,
    PowerCycle, ErrorInQueue, Says,
)  # fmt: skip
MENU: Final[Mapping[str, type[Fault]]] = MappingProxyType({kind.name: kind for kind in _ALL})
"""Every fault by its name."""

_READ: Final[Mapping[str, Callable[[str], object]]] = MappingProxyType(
    {"float": float, "int": int, "str": str}
)


def fault_from_words(name: str, given: Mapping[str, str]) -> Fault:
    """Return the fault of that name with what was given for it.

    Parameters
    ----------
    name
        As in `MENU`.
    given
        The fault's own fields, typed; those left out keep their defaults.

    Raises
    ------
    ValueError
        No such fault or field, or a text that is no number where one belongs.
    """
    if name not in MENU:
        raise ValueError(f"no fault {name!r}; there are: {', '.join(MENU)}")
    kinds = {one.name: str(one.type) for one in fields(MENU[name])}
    values: dict[str, object] = {}
    for key, text in given.items():
        if key not in kinds:
            known = ", ".join(kinds) or "nothing"
            raise ValueError(f"fault {name!r} takes {known}, not {key!r}")
        try:
            values[key] = _READ[kinds[key]](text)
        except ValueError as error:
            raise ValueError(f"{key!r} is to be a number, not {text!r}") from error
    return MENU[name](**values)
