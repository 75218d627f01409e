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

from daq.clock import iso_utc
from daq.errors import InputError, Refused
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader
from daq.measurement import Measurement
from daq.reading import describe_ddm
from daq.roles import Identity, Instrument, InstrumentClass, ReadsInOneWay
from daq.station import Station
from procedures.engine.bench import Bench
from procedures.steps.predominance import (
    CAUTION,
    CLEARLY,
    middles_of_traverses,
    readings_with_each_tone,
)

TITLE: Final = "Sense check"
OVERRIDDEN: Final = "Sense check overridden"


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
        The technician did not make a tone predominate, or did not undo it.
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
        caution=CAUTION,
    )
    read = readings_with_each_tone(bench, key, point_name)
    sense = judged_sense(read[150], read[90])
    bench.note(
        f"{key}/found",
        TITLE,
        {
            "instrument": alias,
            **how_it_reads(bench.station, bench.instruments[alias]),
            "ddm with 150 Hz": read[150].value,
            "ddm with 90 Hz": read[90].value,
            "sense": str(sense),
        },
    )
    bench.tell(_in_words(alias, read, sense))
    return sense


def require_sense_check(bench: Bench, alias: str, point_name: str) -> None:
    """Go on only with a receiver whose sense was found right; check it now if it never was.

    A check counts for the same maker, model and serial number read in the same way: a profile
    whose query, unit, sign or set-up was changed since is asked for again, and so is an instrument
    with another firmware or a newer calibration. An
    instrument that tells no serial number is checked in every run. Where no tone can be made to
    predominate, a reason for going on counts for this run alone, and proves nothing.

    Raises
    ------
    Refused
        The sense is reversed, no clear predominance was seen, or the check could not be done and
        nobody gave a reason to go on.
    InputError
        As `sense_check`.
    """
    if _found_right_before(bench, alias):
        return
    if not bench.confirm(
        f"sense/{alias}/possible",
        f"The sense of '{alias}' ({bench.instruments[alias].identity}) is not proved. Can each "
        f"tone be made to predominate on purpose now, at '{point_name}': the other one switched "
        "off at the transmitter, or a signal generator at the receiver?",
    ):
        _override(bench, alias)
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


def prove_receivers(bench: Bench) -> None:
    """Go on only when the sense of every receiver whose DDM this run may judge was found right.

    Raises
    ------
    Refused
        As `require_sense_check`.
    """
    for alias, point_name in places_of_proof(bench).items():
        require_sense_check(bench, alias, point_name)


def places_of_proof(bench: Bench) -> dict[str, str]:
    """Return the point at which each navigation receiver of the bench is best checked, by alias.

    At the station before out in the field, and a traverse last. A receiver that reads no DDM at
    any point is left out.
    """
    carried = middles_of_traverses(bench.station)
    points = [point for point in bench.station.points if point.quantity == "ddm"]
    # The file's own order holds within each kind: sorting keeps it.
    points.sort(key=lambda point: (point.name in carried, point.place is not None))
    places: dict[str, str] = {}
    for point in points:
        instrument = bench.instruments.get(point.instrument)
        if instrument is None:
            continue
        if instrument.instrument_class is InstrumentClass.NAVIGATION_RECEIVER:
            places.setdefault(point.instrument, point.name)
    return places


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


def how_it_reads(station: Station, instrument: Instrument) -> dict[str, object]:
    """Return what a proof of its sense holds for: this very instrument, read in this very way.

    A repair or a calibration may have turned its sign, so the proof ends with them.
    """
    way = ""
    if isinstance(instrument, ReadsInOneWay) and "ddm" in instrument.quantities:
        way = instrument.way_of_reading("ddm")
    entry = station.instrument(instrument.alias)
    calibrated = entry.calibrated.isoformat() if entry.calibrated else ""
    return {
        "profile": entry.profile,
        "way of reading": way,
        **_named(instrument.identity),
        "firmware": instrument.identity.firmware,
        "calibrated": calibrated,
    }


def last_right_check(reader: LogReader, wanted: Mapping[str, object]) -> Entry | None:
    """Return the newest check in a log, if the sense was found right.

    Parameters
    ----------
    wanted
        What `how_it_reads` says; None is found when the instrument tells no serial number.
    """
    if not wanted["serial"]:
        return None
    newest: Entry | None = None
    for entry in reader.entries(kind=Kind.OUTCOME):
        request = entry.body["request"]
        if not isinstance(request, Mapping) or request.get("title") != TITLE:
            continue
        if request.get("do") == "note" and wanted.items() <= request.items():
            newest = entry if request.get("sense") == Sense.RIGHT else None
    return newest


def _found_right_before(bench: Bench, alias: str) -> bool:
    """Look the receiver up in the log; what proves its sense goes on this run's record too."""
    identity = bench.instruments[alias].identity
    read_so = how_it_reads(bench.station, bench.instruments[alias])

    def live() -> Body:
        with LogReader(bench.journal.writer.path) as reader:
            found = last_right_check(reader, read_so)
        return {"row": found.seq, "found_on": iso_utc(found.utc_ns)} if found else {"row": 0}

    # Journalled, so that a resumed run goes the same way although the log has grown since.
    known = bench.journal.outcome(
        f"sense/{alias}/known",
        {"do": "look up", "title": TITLE, "instrument": alias, **read_so},
        live,
    )
    if not known["row"]:
        return False
    bench.note(
        f"sense/{alias}/found before",
        "Sense found right before",
        {"instrument": alias, **read_so, **known},
    )
    bench.tell(
        f"The sense of '{alias}' ({identity}) was found right on {str(known['found_on'])[:10]}."
    )
    return True


def _override(bench: Bench, alias: str) -> None:
    """Go on without a proof, for a reason that stands on the record."""
    what = f"The sense of '{alias}' is not proved."
    if not bench.confirm(
        f"sense/{alias}/override",
        f"{what} Every DDM that it reads may have the wrong sign. Go on all the same, with a "
        "reason?",
    ):
        raise Refused(what, hint="see that a tone can be made to predominate, or give a reason.")
    reason = bench.text(f"sense/{alias}/reason", "The reason, for the record:").strip()
    if not reason.strip("-. "):
        raise Refused(f"{what} No reason was given.")
    bench.note(
        f"sense/{alias}/overridden",
        OVERRIDDEN,
        {
            "instrument": alias,
            **_named(bench.instruments[alias].identity),
            "sense": "not proved",
            "reason": reason,
        },
    )


def _named(identity: Identity) -> dict[str, object]:
    return {"maker": identity.maker, "model": identity.model, "serial": identity.serial}


def _in_words(alias: str, read: Mapping[int, Measurement], sense: Sense) -> str:
    seen = "; ".join(
        f"with {tone} Hz made to predominate it read {describe_ddm(found.value)}"
        for tone, found in read.items()
    )
    return f"Sense of '{alias}': {sense}. {seen[0].upper()}{seen[1:]}."
