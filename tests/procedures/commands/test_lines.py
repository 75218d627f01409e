"""Lines are wrapped at words at a terminal, and nowhere else."""

from __future__ import annotations

import fcntl
import os
import struct
import termios
from pathlib import Path

import pytest

from procedures.commands.lines import WIDEST, columns, wrapped

TEXT = (
    "error: /srv/somewhere/far-away/from/here/tarnholt-16-with-a-long-name.tblog: the disk is "
    "full; the log is untouched. Try: free some space, then give the same command again."
)


@pytest.mark.parametrize("width", [20, 40, 60, 80])
def test_no_word_is_broken_and_no_line_is_too_long_but_for_one_word(width: int) -> None:
    lines = wrapped(TEXT, width).splitlines()
    assert len(lines) > 1
    assert " ".join(lines) == TEXT
    assert all(len(line) <= width or " " not in line for line in lines)


def test_line_ends_are_kept_and_without_a_width_everything() -> None:
    assert wrapped("a b\n\nc d", 3) == "a b\n\nc d"
    assert wrapped(TEXT, None) == TEXT


@pytest.mark.parametrize(("window", "written"), [(60, 60), (200, WIDEST), (0, WIDEST), (5, 20)])
def test_a_terminal_is_written_to_as_wide_as_it_is(window: int, written: int) -> None:
    ours, theirs = os.openpty()
    try:
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, window, 0, 0))
        with os.fdopen(theirs, "w") as stream:
            assert columns(stream) == written
    finally:
        os.close(ours)


def test_a_file_has_no_width(tmp_path: Path) -> None:
    with (tmp_path / "x").open("w", encoding="utf-8") as stream:
        assert columns(stream) is None
