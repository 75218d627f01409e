"""The identification: depth, tone, code, speed and repetition while it is keyed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Final

from daq.roles import Action
from daq.station_equipment import IdentCheck
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result
from procedures.limit_tables import find_limit
from procedures.steps.caught_ident import Ident, catch_identification
from procedures.steps.detector_records import Mean

DOT_U_S: Final = 0.003
"""Standard uncertainty of the length of a dot from a decoded record: half a step of its keying."""

ON: Final = Action("key ident", {"mode": "code"})
OFF: Final = Action("key ident", {"mode": "off"})
STATION_FILE: Final = "station file"


def check_identification(bench: Bench, key: str, table: IdentCheck, detector_u: float) -> None:
    """Measure and judge the identification of the transmitter that is selected.

    Parameters
    ----------
    detector_u
        Standard uncertainty of a depth that the detector adds, as a part of the depth.

    Raises
    ------
    Refused
        It is not keyed, or not suppressed again, or a record cannot be measured.
    """
    with keyed_meanwhile(bench, key, suppressed=table.suppressed):
        found = catch_identification(bench, f"{key}/caught", table)
        _judge_sound(bench, key, found, detector_u)
        _judge_repetition(bench, key, found, table)
        _judge_code(bench, key, found)


@contextmanager
def keyed_meanwhile(bench: Bench, key: str, *, suppressed: bool) -> Iterator[None]:
    """Have the identification keyed for the block, and suppressed again where local rules say so.

    An identification tells whoever hears it that the facility may be used (Annex 10 Vol I,
    3.1.3.9.4: it is suppressed when it may not).

    Raises
    ------
    Refused
        It is not keyed, or not suppressed again.
    """
    if not suppressed:
        bench.require(f"{key}/on", "Let the transmitter key its identification.", action=ON)
        yield
        return
    what = "the identification is keyed although the facility is withdrawn from use"
    with bench.false_guidance(key, what, OFF):
        bench.require(
            f"{key}/on",
            "Let the transmitter key its identification, for this measurement only.",
            action=ON,
        )
        yield
        bench.require(
            f"{key}/off",
            "Suppress the identification again, as the notices for this work have it.",
            action=OFF,
        )


def _judge_sound(bench: Bench, key: str, found: Ident, detector_u: float) -> None:
    depth = found.depth or Mean(0.0, 0.0)
    u = math.hypot(depth.u, detector_u * depth.value)
    depths = Result("ident_depth", depth.value, u)
    bench.judge(f"{key}/depth/verdict", f"{key}: depth", depths, _limit(bench, "ident_depth"))
    if found.tone_hz is not None:
        tone = Result("ident tone", found.tone_hz.value, found.tone_hz.u)
        bench.judge(f"{key}/tone/verdict", f"{key}: tone in Hz", tone, _limit(bench, "ident_tone"))
    if found.dot_s is not None:
        dot = Result("ident dot", found.dot_s, DOT_U_S)
        bench.judge(f"{key}/dot/verdict", f"{key}: dot", dot, _limit(bench, "ident_dot"))


def _judge_repetition(bench: Bench, key: str, found: Ident, table: IdentCheck) -> None:
    """Judge how often it is sent and whether at equal intervals; say it where that was not seen."""
    bench.note(
        f"{key}/intervals",
        "Intervals between identifications",
        {"intervals": [{"interval_s": each_s} for each_s in found.intervals_s]},
    )
    if found.per_minute is None:
        seen = len(found.intervals_s)
        bench.tell(
            f"{key}: {seen or 'no'} interval between two transmissions was seen; how often it is "
            "sent, and how evenly, is NOT measured. Longer records, or more of them, show it."
        )
        return
    often = Result("identifications per minute", found.per_minute.value, found.per_minute.u)
    limit = _limit(bench, "ident_repetition")
    bench.judge(f"{key}/repetition/verdict", f"{key}: times a minute", often, limit)
    if found.unequal is None:
        return
    unequal = Result("difference", found.unequal.value, found.unequal.u)
    equal = Limit(None, table.unequal, "1", "unequal intervals", STATION_FILE, STATION_FILE)
    bench.judge(f"{key}/intervals/verdict", f"{key}: unequal intervals", unequal, equal)


def _judge_code(bench: Bench, key: str, found: Ident) -> None:
    wanted = bench.station.station.ident
    by_ear = not found.long_enough_for(wanted)
    right = (
        bench.confirm(f"{key}/by ear", f"Listen: does the identification spell {wanted}?")
        if by_ear
        else found.spells(wanted)
    )
    said: Mapping[str, object] = {
        "wanted": wanted,
        "spelt": found.text or None,
        "by_ear": by_ear,
        "right": right,
        "words_per_minute": found.words_per_minute,
    }
    bench.note(f"{key}/code", "Identification", said)
    if not right:
        bench.tell(f"The identification is NOT {wanted}: {found.text or 'as heard'}.")


def _limit(bench: Bench, key: str) -> Limit:
    station = bench.station
    category = station.station.category
    return find_limit("localizer", category, key, overrides=station.limits).limit()
