"""The record as a PDF: the template is fixed, the contents reach it as data."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

from daq.errors import LogError
from procedures.record.atomic import replacing
from procedures.record.model import Record
from procedures.record.page import page_data


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
    import matplotlib as mpl
    import typst

    # Only typefaces that the two packages bring along: the same paper on every machine.
    fonts = typst.Fonts(
        include_system_fonts=False,
        font_paths=[Path(mpl.get_data_path()) / "fonts" / "ttf"],
    )
    template = resources.files("procedures.record").joinpath("record.typ").read_bytes()
    try:
        compiler = typst.Compiler(template, font_paths=fonts)
        content = compiler.compile(
            format="pdf",
            sys_inputs={"record": json.dumps(page_data(record), ensure_ascii=False)},
            timestamp=record.header.last_utc_ns // 1_000_000_000,
        )
    except typst.TypstError as error:
        raise LogError(
            f"The record of run {record.header.run} could not be typeset: {error}",
            hint="the log is sound; please report this message.",
        ) from error
    if not isinstance(content, bytes):
        raise LogError(f"The typesetter gave no PDF for run {record.header.run}.")
    return content
