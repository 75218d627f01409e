"""Make the files of a run's record from its log."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

from daq.log.reader import LogReader
from procedures.record.collect import collect
from procedures.record.csv_export import write_csv
from procedures.record.differences import compared_lines
from procedures.record.pdf import write_pdf


@dataclass(frozen=True, slots=True)
class RecordFiles:
    """Where the record is."""

    pdf: Path
    csv: Path


def write_record(log_path: Path, run: int, folder: Path) -> RecordFiles:
    """Write the record of a run into `folder`: ``tarnholt-16-run-0003.pdf`` and ``.csv``.

    The name before ``-run-`` is the log's. Earlier files of the same run are replaced.

    Raises
    ------
    InputError
        There is no such log or run.
    LogDamaged
        A row of the run is not what this program writes.
    LogFull, LogError
        The disk is full, or a file cannot be written.
    """
    stem = f"{re.sub(r'[^A-Za-z0-9._-]+', '-', log_path.stem)}-run-{run:04d}"
    files = RecordFiles(pdf=folder / f"{stem}.pdf", csv=folder / f"{stem}.csv")
    with LogReader(log_path) as reader:
        record = replace(collect(reader, run), compared=compared_lines(reader, run))
        write_csv(reader, run, files.csv)
    write_pdf(record, files.pdf)
    return files
