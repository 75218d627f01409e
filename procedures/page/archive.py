"""What was done before: the runs of a log, their records, and the trends over them."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any, Final

from daq.errors import InputError, LogError
from daq.log.reader import LogReader, RunSummary
from procedures.page.present import Body, plotted
from procedures.terminal.format import displayed

_COMMAND_S: Final = 120.0
"""How long a record may take to be typeset, or trends to be fitted."""


def runs(log_path: Path) -> list[Body]:
    """Return all runs, newest first."""
    with LogReader(log_path) as reader:
        return [_run(summary) for summary in reversed(reader.runs())]


def _run(summary: RunSummary) -> Body:
    ended = summary.ended or {}
    hazards = ended.get("open_hazards")
    return {
        "run": summary.run,
        "procedure": str(summary.started.get("procedure", "")),
        "started_ms": summary.started_utc_ns // 1_000_000,
        "minutes": round((summary.last_utc_ns - summary.started_utc_ns) / 60e9, 1),
        "result": str(ended.get("result", "not ended")),
        "said": str(ended.get("message", "")),
        "hazards": [str(h) for h in hazards] if isinstance(hazards, list) else [],
        "readings": summary.readings,
        "digest": summary.digest[:16],
    }


def trends(station_path: Path) -> list[Body]:
    """Return every parameter that was ever found, most urgent first; without its visits.

    Raises
    ------
    LogError
        The trends could not be made.
    """
    found = _trimbench("trend", station=station_path)["trends"]
    listed = found if isinstance(found, list) else []
    return [
        {"parameter": one["parameter"], "attention": one["attention"], "visits": one["visits"]}
        for one in listed
    ]


def trend(station_path: Path, parameter: str) -> Body:
    """Return one parameter over the years as it is drawn: values, limits and reference.

    Raises
    ------
    LogError
        There is no such parameter, or its trend could not be made.
    """
    # The name stands after `--`, so that one that begins with a dash is no option.
    found = _trimbench("trend", station=station_path, after=("--", parameter))["trends"]
    if not parameter or not isinstance(found, list) or not found:
        raise LogError(f"There is no trend of '{parameter}'.")
    return _drawn(found[0])


def _drawn(one: Mapping[str, Any]) -> Body:
    quantity = str(one["quantity"])

    def plot(value: float | None) -> float | None:
        return None if value is None else plotted(quantity, value)

    limit = one["limit"] or {"low": None, "high": None, "source": ""}
    return {
        "title": one["parameter"],
        "unit": displayed(quantity, 0.0).unit,
        "attention": one["attention"],
        "low": plot(limit["low"]),
        "high": plot(limit["high"]),
        "source": limit["source"],
        "reference": plot(one["reference"]),
        "points": [
            {
                "run": visit["run"],
                "time": visit["time"],
                "found": plot(visit["found"]),
                "left": plot(visit["left"]),
                "adjusted": visit["adjusted"],
            }
            for visit in one["history"]
        ],
    }


def _trimbench(command: str, *, station: Path, after: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return what one of our commands says with ``--json``, from a process of its own.

    Typesetting and fitting take seconds of a processor; in this process they would delay readings.

    Raises
    ------
    LogError
        It failed, or took too long.
    """
    arguments = [command, "--json", "--station", str(station), *after]
    try:
        done = subprocess.run(  # noqa: S603 - our own program; arguments are no shell's
            [sys.executable, "-m", "procedures.cli", *arguments],
            capture_output=True,
            text=True,
            timeout=_COMMAND_S,
            check=True,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.CalledProcessError as error:
        raise LogError(f"`trimbench {command}` failed: {error.stderr.strip()}") from error
    except subprocess.TimeoutExpired as error:
        raise LogError(f"`trimbench {command}` took more than {_COMMAND_S:.0f} s.") from error
    said: dict[str, Any] = json.loads(done.stdout)
    return said


@dataclass
class Records:
    """PDF records, made when they are asked for, one at a time.

    Parameters
    ----------
    station_path, log_path
        Where the runs are.
    folder
        Where records are put; belongs to this page.
    """

    station_path: Path
    log_path: Path
    folder: Path
    _made: dict[tuple[int, str], Path] = field(default_factory=dict)
    _one_at_a_time: Lock = field(default_factory=Lock)

    def pdf(self, run: int) -> Path:
        """Return the record of a run that has ended.

        Raises
        ------
        InputError
            There is no such run, or it has not ended.
        LogError
            The record could not be made.
        """
        with LogReader(self.log_path) as reader:
            summary = reader.run(run)
        if summary.ended is None:
            raise InputError(f"Run {run} has not ended; it has no record yet.")
        with self._one_at_a_time:
            wanted = (run, summary.digest)
            if wanted not in self._made:
                self._made[wanted] = self._make(run)
            return self._made[wanted]

    def _make(self, run: int) -> Path:
        where = ("--folder", str(self.folder), str(run))
        return Path(str(_trimbench("record", station=self.station_path, after=where)["pdf"]))
