"""What can be typed at the hands: each verb with an example that works on the plant served."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from sim_instruments.connections import ANTENNA
from sim_instruments.monitor import CHANNELS, WIDTH
from sim_instruments.paths import CABLES
from sim_instruments.plant import FAR_FIELD_MONITOR, Plant
from sim_instruments.ports import BOTH_CSB, CSB_PORTS, POWER_POINTS
from sim_instruments.probing import PROBE_POINTS

Example = Mapping[str, str | float]


@dataclass(frozen=True, slots=True)
class Verb:
    """One thing that hands can do.

    Attributes
    ----------
    does
        In a few words.
    example
        Arguments, by name, that work on any plant.
    needs
        Names of those that have to be there.
    """

    does: str
    example: Example
    needs: tuple[str, ...]


def _verb(does: str, /, *, needs_all: bool = True, **example: str | float) -> Verb:
    return Verb(does, example, tuple(example) if needs_all else ())


_A_CABLE: Final = "sbo monitor"

VERBS: Final[Mapping[str, Verb]] = {
    "connect receiver": _verb("connect the receiver to a point", point="course width"),
    "connect probe": _verb(
        "put a probe of the oscilloscope on a point", point="course line IF", channel=1
    ),
    "connect power meter": _verb("connect the power meter to a port", point=POWER_POINTS[0]),
    "connect counter": _verb("connect the counter to a port", point=POWER_POINTS[0]),
    "connect analyzer": _verb(
        "connect the analyzer to a point, or to its own antenna", point=ANTENNA
    ),
    "carry receiver": _verb(
        "carry the receiver into the field; also by radius_m and azimuth_deg",
        needs_all=False, along_m=3000, lateral_m=20,
    ),
    "drive receiver": _verb(
        "drive it both ways and save log and track; also by radius_m, from_deg and to_deg",
        needs_all=False, along_m=3120, from_m=-140, to_m=140, speed_m_s=15, file="drive.csv",
    ),
    "name track": _verb("look what the track beside a log is called", file="drive.csv"),
    "insert line": _verb("put the quarter-wave line into a cable", path="sbo", stage="monitor"),
    "remove line": _verb("take the line out again", path="sbo", stage="monitor"),
    "cut": _verb("cut a piece off a cable", path="sbo", stage="monitor", length_m=0.2),
    "turn": _verb("turn a control by a part of its range, -1 to 1", control=WIDTH, by=0.02),
    "turn control": Verb(
        "turn a control by its effect: change_db, change_deg or change_ddm",
        {"control": WIDTH, "change_db": 0.2},
        ("control",),
    ),
    "centre control": _verb("bring a control to the middle", control=WIDTH),
    "restore control": _verb("bring a control back to where it was found", control=WIDTH),
    "select transmitter": _verb("let transmitter 1 or 2 feed the arrays", number=2),
    "switch carrier": _verb("switch a carrier on or off", carrier="clearance", state="off"),
    "switch tone": _verb("switch the 90 or the 150 Hz tone on or off", tone=90, state="off"),
    "key ident": _verb("key the ident: code, continuous or off", mode="code"),
    "sweep cable": Verb(
        "sweep a cable from one end and save it",
        {"name": _A_CABLE, "file": "sweep.s1p", "far_end": "open"},
        ("name", "file"),
    ),
    "measure match": _verb("measure the standing wave ratio of a cable", name=_A_CABLE),
    "measure insulation": _verb("measure the insulation of a cable, megohm", name=_A_CABLE),
    "cut cable": _verb("cut a piece off a cable called by its name", name=_A_CABLE, length_m=0.05),
    "position": _verb("look where a control stands", control=WIDTH),
    "controls": _verb("look which controls there are"),
    "truth": _verb("look at what no instrument shows"),
    "field": _verb(
        "look at the field of a place, without noise", needs_all=False, along_m=3000, lateral_m=20
    ),
}  # fmt: skip
"""Verb -> what it does; in the order in which a technician meets them."""


def typed(verb: str, arguments: Example) -> str:
    """Return the line to type for a verb: ``turn control="monitor width" by=0.02``."""
    return " ".join([verb, *(f"{key}={_quoted(value)}" for key, value in arguments.items())])


def _quoted(value: str | float) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"


def check_complete(verb: str, given: Iterable[str]) -> None:
    """Refuse an act of which something is not said, naming all that is missing.

    Raises
    ------
    ValueError
        Something is missing.
    """
    if verb not in VERBS:
        return
    there = set(given)
    missing = [repr(key) for key in VERBS[verb].needs if key not in there]
    if missing:
        *first, last = missing
        listed = f"{', '.join(first)} and {last} are" if first else f"{last} is"
        raise ValueError(f"{listed} missing; such as: {typed(verb, VERBS[verb].example)}")


def not_a_verb(word: str, known: Iterable[str]) -> str:
    """Return what to say to a verb that hands do not know."""
    listed = list(known)
    close = difflib.get_close_matches(word, listed, n=1)
    they = f"did you mean {close[0]!r}? They" if close else "they"
    return (
        f"hands cannot {word!r}; {they} can {', '.join(listed)}; names with spaces stand in "
        "quotes, and `help` shows an example of each"
    )


def help_lines(word: str, plant: Plant) -> list[str]:
    """Return what there is to type, for a person.

    Parameters
    ----------
    word
        One verb, or the first word of several; empty for all.
    plant
        Whose points, cables and controls are named.

    Raises
    ------
    ValueError
        No verb begins with `word`.
    """
    chosen = {name: verb for name, verb in VERBS.items() if name.startswith(word)}
    if not chosen:
        raise ValueError(not_a_verb(word, VERBS))
    examples = {name: typed(name, verb.example) for name, verb in chosen.items()}
    width = max(map(len, examples.values()))
    lines = [f"{examples[name]:<{width}}  {verb.does}" for name, verb in chosen.items()]
    keys = {key for verb in chosen.values() for key in verb.example}
    return [*lines, "", *_names(keys, chosen, plant)]


def _names(keys: set[str], chosen: Iterable[str], plant: Plant) -> list[str]:
    """Return the names that the arguments of the chosen verbs can have on this plant."""
    verbs = set(chosen)
    receivable = (*CHANNELS, *CSB_PORTS, BOTH_CSB, FAR_FIELD_MONITOR)
    lines = []
    if verbs & {"connect receiver", "connect analyzer"}:
        lines.append(_listed("points of a receiver", filter(plant.can_receive, receivable)))
    if "connect probe" in verbs:
        lines.append(_listed("points of a probe", PROBE_POINTS))
    if verbs & {"connect power meter", "connect counter"}:
        lines.append(_listed("ports of a meter", POWER_POINTS))
    if "path" in keys:
        stages = [f"{path} at the {stage}" for path, stage in CABLES]
        lines.append(_listed("path and stage", stages))
    if "name" in keys:
        lines.append(_listed("names of cables", (" ".join(cable) for cable in CABLES)))
    if "control" in keys:
        lines.append(_listed("controls", plant.control_names))
    return lines


def _listed(what: str, names: Iterable[str]) -> str:
    return f"{what}: {', '.join(names)}"
