"""Build a record from the log, and from nothing else."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from daq.errors import LogDamaged, StationFileError
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.station import Station, parse_station
from procedures.record import rows
from procedures.record.model import End, Header, InstrumentLine, Record
from procedures.record.pairing import summarise
from procedures.record.steps import Steps, read_steps
from procedures.record.warn import warnings_of

CUT_OFF = "cut off"
"""Result of a run that has no end, or was taken up after it."""


def collect(reader: LogReader, run: int) -> Record:
    """Return everything that the record of a run prints.

    Raises
    ------
    InputError
        There is no such run.
    LogDamaged
        A row of the run is not what this program writes; the message names the row.
    """
    summary = reader.run(run)
    entries = list(reader.entries(run=run))
    with rows.told(entries[0]):
        station = _station(entries[0])
        header = _header(entries[0], entries[-1], station)
        instruments = _instruments(entries[0])
    steps = read_steps(entries)
    ends = [entry for entry in entries if entry.kind is Kind.RUN_ENDED]
    end = _end(None if summary.ended is None else ends[-1], steps)
    chain_fault = _chain_fault(reader)
    return Record(
        header=header,
        end=end,
        instruments=instruments,
        summary=summarise(steps.measured, steps.adjustments),
        measured=steps.measured,
        verdicts=steps.verdicts,
        adjustments=steps.adjustments,
        cuts=steps.cuts,
        cautions=steps.cautions,
        answers=steps.answers,
        notes=steps.notes,
        events=steps.events,
        digest=summary.digest,
        rows=summary.rows,
        reading_count=summary.readings,
        chain_ok=not chain_fault,
        warnings=warnings_of(
            end,
            steps,
            instruments,
            chain_fault=chain_fault,
            station_readable=station is not None,
            simulated=station is not None and "simulation" in station.model_fields_set,
        ),
    )


def _header(first: Entry, last: Entry, station: Station | None) -> Header:
    body = first.body
    facility = station.station if station else None
    return Header(
        run=first.run,
        procedure=rows.text(body, "procedure"),
        procedure_version=int(rows.number(body, "procedure_version")),
        program_version=rows.text(body, "program_version"),
        operator=rows.text(body, "operator"),
        station=facility.name if facility else "",
        runway=facility.runway if facility else "",
        ident=facility.ident if facility else "",
        category=facility.category if facility else "",
        frequency_hz=facility.frequency_hz if facility else None,
        acceptance=station.conventions.acceptance if station else "",
        station_path=rows.text(body, "station_path"),
        station_digest=rows.text(body, "station_digest"),
        started_utc_ns=first.utc_ns,
        last_utc_ns=last.utc_ns,
    )


def _station(first: Entry) -> Station | None:
    """Return the station, or None when an old log's text is no station to this program."""
    text, path = rows.text(first.body, "station_text"), rows.text(first.body, "station_path")
    try:
        return parse_station(text, Path(path))
    except (StationFileError, ValueError):
        # tomllib's and pydantic's errors are ValueErrors; the record is made all the same.
        return None


def _instruments(first: Entry) -> tuple[InstrumentLine, ...]:
    day = datetime.fromtimestamp(first.utc_ns // 1_000_000_000, tz=UTC).date().isoformat()
    return tuple(
        InstrumentLine(
            alias=rows.text(body, "alias"),
            instrument_class=rows.text(body, "class"),
            profile=rows.text(body, "profile"),
            resource=rows.text(body, "resource"),
            maker=rows.text(body, "maker"),
            model=rows.text(body, "model"),
            serial=rows.text(body, "serial"),
            firmware=rows.text(body, "firmware"),
            calibrated=rows.text(body, "calibrated"),
            calibration_due=rows.text(body, "calibration_due"),
            # ISO dates sort as text; the due day itself is still good.
            overdue="" < rows.text(body, "calibration_due") < day,
        )
        for body in rows.mappings(first.body, "instruments")
    )


def _end(last: Entry | None, steps: Steps) -> End:
    if last is None:
        return End(
            CUT_OFF,
            "The log holds no end of this run: it was cut off, or it is still going on.",
            steps.standing_reminders,
        )
    with rows.told(last):
        return End(
            rows.text(last.body, "result"),
            rows.text(last.body, "message"),
            rows.texts(last.body, "open_hazards"),
        )


def _chain_fault(reader: LogReader) -> str:
    try:
        reader.verify()
    except LogDamaged as error:
        return error.message
    return ""
