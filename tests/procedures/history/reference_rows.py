"""A set of reference values in a log, as `fix_references` writes it, but from no baseline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

from daq.log.entry import Kind
from daq.log.writer import LogWriter
from procedures.history.references import KEY, PROCEDURE, Reference

WIDTH = Reference(0.1553, 0.0006, "ddm", "1")
QUADRATURE = Reference(-0.0003, 0.0005, "ddm", "1")
AT_ALARM = Reference(0.1290, 0.0006, "ddm", "1")
LEVEL = Reference(1.512, 0.010, "vpp", "V")


def write_references(
    writer: LogWriter, values: Mapping[str, Reference], *, version: int = 1
) -> None:
    run = writer.next_run()
    writer.append(run, Kind.RUN_STARTED, PROCEDURE, {"procedure": PROCEDURE})
    body = {
        "event": KEY,
        "version": version,
        "run": 1,
        "signed_by": "station engineer",
        "supersedes": version - 1 or None,
        "values": {name: {**asdict(value), "utc_ns": 0} for name, value in values.items()},
    }
    writer.append(run, Kind.EVENT, KEY, body)
    writer.append(run, Kind.RUN_ENDED, "finished", {"result": "finished"})
