"""Five invented years written into a real log, run by run, as procedures write them.

What is in it: the width drifts, a cable's phase follows the seasons, a step hits the clearance
between two visits, one level is found out of its limits and adjusted, the receiver is exchanged
once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from daq.clock import ManualClock
from daq.journal import Journal, reading_body
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.measurement import Measurement
from daq.reading import Reading
from daq.station import Station, load_station
from procedures.engine.run_started import started_body

STATION = """
[station]
name = "Tarnholt aerodrome"
runway = "16"
ident = "ITN"
category = "II"
frequency = "109.35 MHz"
carriers = 2
log = "tarnholt-16.tblog"

[geometry]
distance_to_threshold = "3120 m"

[conventions]
alarm_basis = "sensitivity"

[[instruments]]
alias = "receiver"
class = "navigation receiver"
profile = "halvorsund-nr2"
resource = "ASRL./receiver.tty::INSTR"
calibrated = 2031-08-03
calibration_due = 2032-02-03

[[points]]
name = "course width"
quantity = "ddm"
instrument = "receiver"
target = "0.155"
adjust_to = "0.003"

[[points]]
name = "clearance 90"
quantity = "ddm"
instrument = "receiver"
target = "-0.210"
adjust_to = "0.010"

[[points]]
name = "course line IF"
quantity = "vpp"
instrument = "receiver"
target = "1.5 V"
adjust_to = "0.1 V"
"""

LIMITS = {
    "course width": (0.152, 0.158),
    "clearance 90": (-0.220, -0.200),
    "course line IF": (1.4, 1.6),
}
QUANTITY = {"course width": "ddm", "clearance 90": "ddm", "course line IF": "vpp"}
U = {"ddm": 0.0003, "vpp": 0.01}


def write_station(folder: Path, text: str = STATION) -> Station:
    path = folder / "tarnholt-16.toml"
    path.write_text(text, encoding="utf-8")
    return load_station(path)


class YearsLog:
    """Writes runs; close it (or leave the block) before reading the log."""

    def __init__(self, station: Station, clock: ManualClock) -> None:
        self.station, self.clock = station, clock
        self.writer = LogWriter(station.log_path, clock)
        self.run = 0
        self.journal = Journal(self.writer, 0)

    def __enter__(self) -> YearsLog:
        return self

    def __exit__(self, *_: object) -> None:
        self.writer.close()

    def start(self, procedure: str = "routine", *, serial: str = "0417") -> None:
        self.run = self.writer.next_run()
        self.journal = Journal(self.writer, self.run)
        body = dict(started_body(procedure, 1, self.station, (), operator="technician"))
        body["instruments"] = [
            {
                "alias": "receiver",
                "class": "navigation receiver",
                "profile": "halvorsund-nr2",
                "resource": "ASRL./receiver.tty::INSTR",
                "maker": "Halvorsund",
                "model": "NR2",
                "serial": serial,
                "firmware": "2.10",
                "raw": "",
                "calibrated": "2026-08-03",
                "calibration_due": "2027-02-03",
            }
        ]
        self.writer.append(self.run, Kind.RUN_STARTED, procedure, body)

    def end(self, result: str = "finished", hazards: Sequence[str] = ()) -> None:
        body = {"result": result, "message": "", "open_hazards": list(hazards)}
        self.writer.append(self.run, Kind.RUN_ENDED, result, body)

    def measured(self, point: str, value: float) -> Measurement:
        self.clock.sleep(5.0)
        quantity = QUANTITY[point]
        u = U[quantity]
        return Measurement(
            quantity, point, "receiver", value, u, u / 3, 8, True, self.clock.utc_ns()
        )

    def found(
        self, point: str, value: float, *, label: str = "as found", key: str = ""
    ) -> Measurement:
        """Write one reading, the as-found measurement of it, and its verdict."""
        measurement = self.measured(point, value)
        key = key or f"{point}/{label}"
        self.reading(key, measurement)
        request = {"do": "measure", "point": point, "label": label}
        self.journal.outcome(key, request, measurement.to_body)
        self.judged(key, f"{point}, {label}", measurement)
        return measurement

    def adjusted(self, point: str, value: float, *, control: str) -> Measurement:
        """Write an adjustment and the verdict on what it left."""
        measurement = self.measured(point, value)
        key = f"{point}/adjust"
        request = {
            "do": "adjust",
            "point": point,
            "target": value,
            "band": 0.001,
            "control": control,
        }
        outcome = {
            "after": measurement.to_body(),
            "readings": 20,
            "elapsed_s": 4.0,
            "best": value,
        }
        self.journal.outcome(key, request, lambda: outcome)
        self.judged(key, f"{point}, as left", measurement)
        return measurement

    def judged(self, key: str, title: str, measurement: Measurement) -> None:
        low, high = LIMITS[measurement.point]
        inside = low <= measurement.value <= high
        request: Mapping[str, object] = {
            "do": "judge",
            "title": title,
            "point": measurement.point,
            "quantity": measurement.quantity,
            "value": measurement.value,
            "u": measurement.u,
            "low": low,
            "high": high,
            "source": "station file",
            "status": "station file",
            "rule": "simple",
            "verdict": "in tolerance" if inside else "out of tolerance",
        }
        self.journal.outcome(f"{key}/verdict", request, dict)

    def result(self, key: str, quantity: str, value: float, *, unit: str = "m") -> None:
        """Write the verdict on something that was computed from several readings."""
        self.clock.sleep(5.0)
        request: Mapping[str, object] = {
            "do": "judge",
            "title": f"{key}: {quantity}",
            "point": "",
            "quantity": quantity,
            "value": value,
            "u": 0.3,
            "low": -7.5,
            "high": 7.5,
            "limit": "mean course line at the reference datum",
            "unit": unit,
            "source": "Annex 10 Vol I, 3.1.3.6.1 b)",
            "status": "read in a secondary text",
            "rule": "simple",
            "verdict": "in tolerance" if abs(value) <= 7.5 else "out of tolerance",
        }
        self.journal.outcome(key, request, dict)

    def reading(self, key: str, measurement: Measurement, *, raw: str = "") -> None:
        reading = Reading(
            quantity=measurement.quantity,
            value=measurement.value,
            u=measurement.u,
            source="receiver",
            point=measurement.point,
            utc_ns=self.clock.utc_ns(),
            mono_ns=self.clock.monotonic_ns(),
            raw=raw,
        )
        self.writer.append(
            self.run,
            Kind.READING,
            key,
            reading_body(reading),
            utc_ns=reading.utc_ns,
            mono_ns=reading.mono_ns,
        )

    def asked(self, key: str, request: Mapping[str, object], answer: object) -> None:
        asked = {
            "do": "text",
            "text": "Anything to note?",
            "caution": "",
            "unit": "",
            "verb": "",
            **request,
        }
        self.journal.outcome(key, asked, lambda: {"answer": answer, "by": "technician"})


STEP_MONTH = 37
EXCHANGE_MONTH = 48
WIDTH_PER_YEAR = 0.0005
STEP_DDM = 0.004


def write_five_years(station: Station, clock: ManualClock) -> None:
    """Write 60 monthly visits."""
    rng = np.random.default_rng(516)
    noise = {"ddm": 0.0002, "vpp": 0.008}
    level_offset = 0.0
    with YearsLog(station, clock) as log:
        for month in range(60):
            log.start(serial="0417" if month < EXCHANGE_MONTH else "0633")
            years = month / 12.0
            step = STEP_DDM if month >= STEP_MONTH else 0.0
            truth = {
                "course width": 0.1538 + WIDTH_PER_YEAR * years,
                "clearance 90": -0.2100 + step + 0.0008 * np.cos(2 * np.pi * years),
                "course line IF": 1.5 + 0.045 * years + level_offset,
            }
            for point, value in truth.items():
                found = value + noise[QUANTITY[point]] * rng.standard_normal()
                log.found(point, float(found))
                if point == "course line IF" and abs(found - 1.5) > 0.1:
                    log.adjusted(point, 1.5, control="course line IF level")
                    level_offset += 1.5 - float(found)
            if month == STEP_MONTH:
                log.asked("note", {}, "mast struck by lightning on the 3rd")
            log.end()
            clock.sleep(30.4375 * 86400.0)
