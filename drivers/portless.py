"""The two drivers that have no wire: a person who types, and a recording of another day."""

from __future__ import annotations

import re
from typing import Final

from daq.errors import InputError
from daq.roles import Instrument, InstrumentClass
from drivers.keyed import Ask, KeyedInstrument
from drivers.profile import Profile
from drivers.profiled import Place
from drivers.recorded_readings import RecordedReadings, readings_in_csv, readings_in_log

PORTLESS: Final = ("keyed", "recording")
"""Names that a station file gives in the place of a profile."""

_KEYED: Final = re.compile(r"KEYED(?:::(?P<profile>.+))?", re.IGNORECASE)
_RECORDING: Final = re.compile(r"RECORDING::(?P<file>.+?)(?:::(?P<run>\d+))?", re.IGNORECASE)
_SAMPLES: Final = frozenset({".wav", ".wave", ".txt", ".tsv", ".dat"})


def keyed_profile(resource: str) -> str:
    """Return the profile named in ``KEYED::profile``; empty for plain ``KEYED``.

    Raises
    ------
    InputError
        The resource is neither.
    """
    found = _KEYED.fullmatch(resource.strip())
    if found is None:
        raise InputError(
            f"{resource!r} is no resource of the driver 'keyed'.",
            hint='write "KEYED", or "KEYED::profile" with the profile that gives the accuracy.',
        )
    return found["profile"] or ""


def open_keyed(
    instrument_class: InstrumentClass, place: Place, ask: Ask | None, profile: Profile | None
) -> Instrument:
    """Return a meter that the technician reads.

    Raises
    ------
    InputError
        Nobody is there to type.
    """
    if ask is None:
        raise InputError(
            f"{place.alias} is read by hand: somebody has to type.",
            hint="run this at a terminal, with --operator terminal.",
        )
    return KeyedInstrument(instrument_class, place, ask, profile)


def open_recording(instrument_class: InstrumentClass, place: Place) -> Instrument:
    """Open ``RECORDING::file`` or ``RECORDING::log::run`` by what the file is.

    Raises
    ------
    InputError
        The resource names no file, or the file holds nothing of this instrument.
    LogError
        A log that cannot be read.
    """
    found = _RECORDING.fullmatch(place.resource.strip())
    if found is None:
        raise InputError(
            f"{place.resource!r} is no resource of the driver 'recording'.",
            hint='write "RECORDING::file", or "RECORDING::log::run" for a run of a log.',
        )
    path = place.base / found["file"]
    if not path.is_file():
        raise InputError(f"{path}: there is no such recording.")
    run = int(found["run"]) if found["run"] else None
    suffix = path.suffix.lower()
    if suffix in _SAMPLES or (suffix == ".csv" and not _has_quantities(place, found["file"])):
        # numpy and the sample readers load only for a recording of samples.
        from drivers.recorded_samples import RecordedSamples

        return RecordedSamples(instrument_class, place, path)
    if suffix == ".csv":
        return RecordedReadings(instrument_class, place, readings_in_csv(path, place.alias))
    return RecordedReadings(instrument_class, place, readings_in_log(path, run, place.alias))


def _has_quantities(place: Place, name: str) -> bool:
    """Tell a CSV of readings from one of samples by its head."""
    with (place.base / name).open(encoding="utf-8-sig", errors="replace") as file:
        return "quantity" in file.readline()
