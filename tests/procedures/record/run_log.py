"""A run written row by row into a real log, as a procedure would write it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from daq.clock import ManualClock
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.measurement import Measurement
from daq.reading import Quality, Reading

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

[[points]]
name = "course width"
quantity = "ddm"
instrument = "receiver"
"""


def instrument(**changes: object) -> dict[str, object]:
    """Return an instrument's entry as a run's first row holds it."""
    return {
        "alias": "receiver",
        "class": "navigation receiver",
        "profile": "halvorsund-nr2",
        "resource": "ASRL./receiver.tty::INSTR",
        "maker": "Halvorsund",
        "model": "NR2",
        "serial": "0417",
        "firmware": "2.10",
        "raw": "Halvorsund,NR2,0417,2.10",
        "calibrated": "2026-08-03",
        "calibration_due": "2027-02-03",
        **changes,
    }


class RunLog:
    """Writes one run; close it (or leave the block) before reading the log.

    `ManualClock` begins at 2027-01-15 08:00:00 UTC.
    """

    def __init__(self, path: Path, run: int = 1) -> None:
        self.path = path
        self.clock = ManualClock()
        self.writer = LogWriter(path, self.clock)
        self.run = run
        self.journal = Journal(self.writer, run)

    def __enter__(self) -> RunLog:
        return self

    def __exit__(self, *_: object) -> None:
        self.writer.close()

    def start(
        self,
        *,
        instruments: Sequence[Mapping[str, object]] | None = None,
        **changes: object,
    ) -> None:
        body = {
            "procedure": "monitor-baseline",
            "procedure_version": 1,
            "program_version": "0.1.0",
            "operator": "technician",
            "station_text": STATION,
            "station_path": "stations/tarnholt-16.toml",
            "station_digest": "ab" * 32,
            "instruments": [instrument()] if instruments is None else list(instruments),
            **changes,
        }
        self.writer.append(self.run, Kind.RUN_STARTED, "monitor-baseline", body)

    def end(self, result: str = "finished", message: str = "", hazards: Sequence[str] = ()) -> None:
        body = {"result": result, "message": message, "open_hazards": list(hazards)}
        self.writer.append(self.run, Kind.RUN_ENDED, result, body)

    def reading(
        self,
        key: str,
        value: float,
        *,
        point: str = "course width",
        quantity: str = "ddm",
        u: float = 0.0005,
        source: str = "receiver",
        quality: Quality = Quality.OK,
        raw: str = "",
    ) -> None:
        self.clock.sleep(0.1)
        self.journal.reading(
            key,
            Reading(
                quantity=quantity,
                value=value,
                u=u,
                source=source,
                point=point,
                utc_ns=self.clock.utc_ns(),
                mono_ns=self.clock.monotonic_ns(),
                quality=quality,
                raw=raw,
            ),
        )

    def measured(
        self,
        value: float,
        *,
        point: str = "course width",
        quantity: str = "ddm",
        u: float = 0.0006,
        steady: bool = True,
    ) -> Measurement:
        return Measurement(
            quantity=quantity,
            point=point,
            source="receiver" if quantity == "ddm" else "scope",
            value=value,
            u=u,
            u_scatter=u / 3,
            n=12,
            steady=steady,
            utc_ns=self.clock.utc_ns(),
        )

    def measure(self, key: str, label: str, measurement: Measurement) -> None:
        self.clock.sleep(2.0)
        request = {"do": "measure", "point": measurement.point, "label": label}
        self.journal.outcome(key, request, measurement.to_body)

    def adjust(
        self,
        key: str,
        after: Measurement,
        *,
        start: float,
        target: float,
        band: float,
        control: str,
        count: int = 60,
    ) -> None:
        """Let the readings swing from `start` into `target`, then capture `after`."""
        for n in range(count):
            swing = math.exp(-5.0 * n / count) * math.cos(7.0 * n / count)
            value = target + (start - target) * swing
            self.reading(key, value, point=after.point, quantity=after.quantity)
        request = {
            "do": "adjust",
            "point": after.point,
            "target": target,
            "band": band,
            "control": control,
        }
        outcome = {
            "after": after.to_body(),
            "readings": count,
            "elapsed_s": count / 10,
            "best": target,
        }
        self.journal.outcome(key, request, lambda: outcome)

    def judge(
        self,
        key: str,
        title: str,
        measurement: Measurement,
        *,
        low: float | None,
        high: float | None,
        verdict: str = "in tolerance",
        source: str = "station file",
        status: str = "station file",
    ) -> None:
        request = {
            "do": "judge",
            "title": title,
            "point": measurement.point,
            "quantity": measurement.quantity,
            "value": measurement.value,
            "u": measurement.u,
            "low": low,
            "high": high,
            "source": source,
            "status": status,
            "rule": "simple",
            "verdict": verdict,
        }
        self.journal.outcome(key, request, dict)

    def ask(
        self,
        key: str,
        do: str,
        text: str,
        answer: bool | float | str,
        *,
        caution: str = "",
        unit: str = "",
        verb: str = "",
        arguments: Mapping[str, object] | None = None,
    ) -> None:
        self.clock.sleep(5.0)
        request = {
            "do": do,
            "text": text,
            "caution": caution,
            "unit": unit,
            "suggestion": None,
            "verb": verb,
            "arguments": dict(arguments or {}),
        }
        self.journal.outcome(key, request, lambda: {"answer": answer, "by": "technician"})

    def note(self, key: str, title: str, body: Mapping[str, object]) -> None:
        self.journal.outcome(key, {"do": "note", "title": title, **body}, dict)

    def event(self, key: str, body: Mapping[str, object]) -> None:
        self.journal.event(key, body)


def write_reversed_width(log: RunLog) -> None:
    """Write a whole run: a width found reversed, one cut, a null, and the width set to 0.155."""
    log.start()
    log.ask("cautions/release", "acknowledge", "Withdrawn from use.", True, caution="It can kill.")
    level = log.measured(1.213, point="course line IF", quantity="vpp", u=0.012)
    log.measure("levels/as found", "as found", level)
    log.judge(
        "levels/as found/verdict",
        "course line IF, as found",
        level,
        low=1.47,
        high=1.53,
        verdict="out of tolerance",
    )
    set_to = log.measured(1.5031, point="course line IF", quantity="vpp", u=0.012)
    log.adjust(
        "levels/adjust 1",
        set_to,
        start=1.213,
        target=1.5,
        band=0.03,
        control="course line IF level",
    )
    log.judge("levels/as left 1/verdict", "course line IF, as left", set_to, low=1.47, high=1.53)
    log.measure("round 1/normal", "normal, round 1", log.measured(-0.1023))
    quadrature = log.measured(0.0312)
    arguments = {"path": "sbo", "stage": "transmitter"}
    log.ask(
        "round 1/in", "confirm", "Insert the line.", True, verb="insert line", arguments=arguments
    )
    log.measure("round 1/quadrature", "quadrature, round 1", quadrature)
    log.judge(
        "round 1/quadrature/verdict",
        "course width, quadrature",
        quadrature,
        low=-0.001,
        high=0.001,
        verdict="out of tolerance",
        source="common practice, no source",
    )
    log.note(
        "round 1/plan",
        "Trim plan",
        {
            "stage": "monitor",
            "phase_deg": -163.04,
            "cuts": [
                {
                    "path": "sbo",
                    "length_m": 0.9700,
                    "phase_left_deg": -7.6,
                    "phase_left_u_deg": 2.04,
                    "fine_control_deg": 7.6,
                    "within_spare": True,
                    "note": "",
                },
                {
                    "path": "csb",
                    "length_m": 1.1700,
                    "phase_left_deg": 8.1,
                    "phase_left_u_deg": 2.04,
                    "fine_control_deg": -8.1,
                    "within_spare": False,
                    "note": "not possible: the CSB path has 0.900 m to spare",
                },
            ],
        },
    )
    log.ask(
        "round 1/out",
        "confirm",
        "Take the line out.",
        True,
        verb="remove line",
        arguments=arguments,
    )
    log.ask(
        "round 1/cut",
        "number",
        "Shorten the SBO path and enter the length really cut.",
        0.965,
        unit="m",
        verb="cut",
        arguments={"path": "sbo", "stage": "monitor", "length_m": 0.97},
    )
    nulled = log.measured(0.00031)
    log.adjust(
        "round 2/null", nulled, start=0.021, target=0.0, band=0.001, control="monitor SBO phase"
    )
    log.judge("round 2/null/verdict", "course width, quadrature", nulled, low=-0.001, high=0.001)
    log.measure("round 2/width", "width", log.measured(0.1021))
    width = log.measured(0.15493)
    log.adjust(
        "round 2/width/adjust 1",
        width,
        start=0.1021,
        target=0.155,
        band=0.001,
        control="monitor width",
    )
    log.judge(
        "round 2/width/verdict",
        "course width, as left",
        width,
        low=0.15400000000000003,
        high=0.156,
    )
    log.end()
