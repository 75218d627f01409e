"""Prove a receiver's sense: a known predominance must read as that predominance.

A receiver whose sign is the other way round is the worst mistake there is: the whole baseline then
comes out mirrored and looks right. So each tone in turn is made to predominate on purpose, at a
place where there is no doubt about it, and the reading has to follow. What was found is kept in
the log with the instrument's serial number; another instrument is asked for again.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from daq.errors import InputError, Refused
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.measurement import Measurement
from daq.reading import describe_ddm
from daq.roles import Identity
from procedures.engine.bench import Bench

CLEARLY: Final = 0.02
"""Least DDM that counts as one tone predominating beyond doubt; common practice, no source."""

TITLE: Final = "Sense check"

_CAUTION: Final = (
    "Do this with a signal generator, or at a detector with the facility withdrawn from use: "
    "a predominance made on purpose is false guidance if it radiates."
)


class Sense(StrEnum):
    """What a sense check came to."""

    RIGHT = "right"
    REVERSED = "reversed"
    UNCLEAR = "unclear"


def sense_check(bench: Bench, alias: str, point_name: str) -> Sense:
    """Have each tone made to predominate on purpose, read it, and keep what was found.

    Parameters
    ----------
    alias
        The receiver.
    point_name
        A point of the station file at which it reads ``ddm``.

    Raises
    ------
    Refused
        The technician did not make a tone predominate.
    InputError
        The point is not read by this instrument, or not as DDM.
    """
    point = bench.station.point(point_name)
    if point.instrument != alias or point.quantity != "ddm":
        raise InputError(
            f"'{point_name}' is no place for a sense check of '{alias}': there "
            f"{point.instrument} reads {point.quantity}."
        )
    key = f"sense/{alias}"
    bench.acknowledge(
        f"{key}/caution",
        f"The sense of '{alias}' is about to be checked with a known predominance.",
        caution=_CAUTION,
    )
    read = {tone: _with_predominance(bench, key, point_name, tone) for tone in (150, 90)}
    sense = judged_sense(read[150], read[90])
    identity = bench.instruments[alias].identity
    bench.note(
        f"{key}/found",
        TITLE,
        {
            "instrument": alias,
            "profile": bench.station.instrument(alias).profile,
            **_named(identity),
            "ddm with 150 Hz": read[150].value,
            "ddm with 90 Hz": read[90].value,
            "sense": str(sense),
        },
    )
    bench.tell(_in_words(alias, read, sense))
    return sense


def require_sense_check(bench: Bench, alias: str, point_name: str) -> None:
    """Go on only with a receiver whose sense was found right; check it now if it never was.

    A check counts for the same maker, model and serial number read through the same profile. An
    instrument that tells no serial number is checked in every run.

    Raises
    ------
    Refused
        The sense is reversed, or no clear predominance was seen.
    InputError
        As `sense_check`.
    """
    identity = bench.instruments[alias].identity
    profile = bench.station.instrument(alias).profile
    # Journalled, so that a resumed run goes the same way although the log has grown since.
    known = bench.journal.outcome(
        f"sense/{alias}/known",
        {"do": "look up", "title": TITLE, "instrument": alias, **_named(identity)},
        lambda: {"row": _last_row(bench, identity, profile)},
    )
    if known["row"]:
        bench.tell(f"The sense of '{alias}' ({identity}) was found right before.")
        return
    sense = sense_check(bench, alias, point_name)
    if sense is Sense.REVERSED:
        raise Refused(
            f"The sense of '{alias}' is reversed: it calls 150 Hz what is 90 Hz.",
            hint="look at positive_tone in its profile, and at the instrument's own sign setting.",
        )
    if sense is Sense.UNCLEAR:
        raise Refused(
            f"The sense of '{alias}' is not proved: no clear predominance was seen.",
            hint=f"make each tone predominate by {CLEARLY:g} DDM or more, and begin again.",
        )


def judged_sense(with_150: Measurement, with_90: Measurement) -> Sense:
    """Return what two readings say, one with each tone made to predominate.

    Both must lie beyond `CLEARLY` and beyond three standard uncertainties.
    """
    clear = all(
        abs(measured.value) >= max(CLEARLY, 3.0 * measured.u) for measured in (with_150, with_90)
    )
    if not clear or (with_150.value > 0) == (with_90.value > 0):
        return Sense.UNCLEAR
    return Sense.RIGHT if with_150.value > 0 else Sense.REVERSED


def last_right_check(reader: LogReader, identity: Identity, profile: str) -> Entry | None:
    """Return the newest check of this instrument in a log, if its sense was found right.

    None too when the instrument tells no serial number.
    """
    if not identity.serial:
        return None
    wanted = {**_named(identity), "profile": profile}
    newest: Entry | None = None
    for entry in reader.entries(kind=Kind.OUTCOME):
        request = entry.body["request"]
        if not isinstance(request, Mapping) or request.get("title") != TITLE:
            continue
        if request.get("do") == "note" and wanted.items() <= request.items():
            newest = entry if request.get("sense") == Sense.RIGHT else None
    return newest


def _last_row(bench: Bench, identity: Identity, profile: str) -> int:
    with LogReader(bench.journal.writer.path) as reader:
        found = last_right_check(reader, identity, profile)
    return found.seq if found else 0


def _with_predominance(bench: Bench, key: str, point_name: str, tone: int) -> Measurement:
    other = 240 - tone
    bench.require(
        f"{key}/make {tone}",
        f"Make {tone} Hz predominate on purpose at '{point_name}', by {CLEARLY:g} DDM or more: "
        f"set a signal generator so, or switch the {other} Hz modulation off. Is it so?",
    )
    return bench.measure(f"{key}/with {tone}", point_name, label=f"{tone} Hz made to predominate")


def _named(identity: Identity) -> dict[str, object]:
    return {"maker": identity.maker, "model": identity.model, "serial": identity.serial}


def _in_words(alias: str, read: Mapping[int, Measurement], sense: Sense) -> str:
    seen = "; ".join(
        f"with {tone} Hz made to predominate it read {describe_ddm(found.value)}"
        for tone, found in read.items()
    )
    return f"Sense of '{alias}': {sense}. {seen[0].upper()}{seen[1:]}."
