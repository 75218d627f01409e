"""The first row of a run: which procedure, which station file, which instruments, by whom."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from daq.log.entry import Body
from daq.roles import Instrument
from daq.station import Station

PROGRAM_VERSION: Final = "0.1.0"


def started_body(
    name: str,
    version: int,
    station: Station,
    instruments: Sequence[Instrument],
    *,
    operator: str,
) -> Body:
    """Return what the first row of a run says."""
    return {
        "procedure": name,
        "procedure_version": version,
        "program_version": PROGRAM_VERSION,
        "operator": operator,
        "station_path": str(station.path),
        "station_text": station.text,
        "station_digest": station.digest,
        "instruments": [_instrument(station, instrument) for instrument in instruments],
    }


def _instrument(station: Station, instrument: Instrument) -> Body:
    entry = station.instrument(instrument.alias)
    identity = instrument.identity
    return {
        "alias": entry.alias,
        "class": str(entry.instrument_class),
        "profile": entry.profile,
        "resource": entry.resource,
        "maker": identity.maker,
        "model": identity.model,
        "serial": identity.serial,
        "firmware": identity.firmware,
        "raw": identity.raw,
        "calibrated": entry.calibrated.isoformat() if entry.calibrated else None,
        "calibration_due": entry.calibration_due.isoformat() if entry.calibration_due else None,
    }
