"""The record as a PDF: the template is fixed, the contents reach it as data."""

from __future__ import annotations

from pathlib import Path

from procedures.record.atomic import replacing
from procedures.record.model import Record
from procedures.record.page import page_data
from procedures.record.typeset import typeset


def write_pdf(record: Record, path: Path) -> None:
    """Write the record to `path`, whole or not at all; the same record gives the same bytes.

    Raises
    ------
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    content = render_pdf(record)
    with replacing(path) as file:
        file.write(content)


def render_pdf(record: Record) -> bytes:
    """Return the record as the bytes of a PDF.

    Raises
    ------
    LogError
        The typesetter failed; the message is its own.
    """
    header = record.header
    return typeset(page_data(record), f"The record of run {header.run}", utc_ns=header.last_utc_ns)
