"""Set a document from the record's template: that is fixed, the contents reach it as data."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib import resources
from pathlib import Path

from daq.errors import LogError
from procedures.record.safe_text import visible


def typeset(data: Mapping[str, object], what: str, *, utc_ns: int) -> bytes:
    """Return a PDF of `data`, which has the fields that `procedures.record.page` gives.

    Parameters
    ----------
    what
        Name of the document, for messages.
    utc_ns
        The document's own date; the same data and date give the same bytes.

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
        content = typst.Compiler(template, font_paths=fonts).compile(
            format="pdf",
            sys_inputs={"record": json.dumps(printable(data), ensure_ascii=False)},
            timestamp=utc_ns // 1_000_000_000,
        )
    except typst.TypstError as error:
        raise LogError(
            f"{what} could not be typeset: {error}",
            hint="the log is sound; please report this message.",
        ) from error
    if not isinstance(content, bytes):
        raise LogError(f"The typesetter gave no PDF for {what}.")
    return content


def printable(value: object) -> object:
    """Return data with every text in it fit to print; drawings (``svg``) stay as they are."""
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, list | tuple):
        return [printable(item) for item in value]
    if isinstance(value, Mapping):
        return {n: item if n == "svg" else printable(item) for n, item in value.items()}
    return value
