"""A file is written whole or not at all, and some files are never written over."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import InputError
from daq.log.store import files_of, is_log
from daq.log.writer import LogWriter
from procedures.record.atomic import replacing, writable


def write(path: Path, *protected: Path) -> None:
    with replacing(path, protected) as file:
        file.write(b"new")


@pytest.fixture
def log(tmp_path: Path, clock: ManualClock) -> Path:
    path = tmp_path / "itn.tblog"
    LogWriter(path, clock).close()
    return path


def direct(path: Path) -> Path:
    return path


def roundabout(path: Path) -> Path:
    (path.parent / "sub").mkdir()
    return path.parent / "sub" / ".." / path.name


def by_link(path: Path) -> Path:
    link = path.parent / "link"
    link.symlink_to(path.name)
    return link


def by_hard_link(path: Path) -> Path:
    link = path.parent / "link"
    link.hardlink_to(path)
    return link


NAMES = (direct, roundabout, by_link, by_hard_link)


@pytest.mark.parametrize("named", NAMES)
def test_a_log_is_never_written_over_though_nobody_named_it(
    named: Callable[[Path], Path], log: Path
) -> None:
    before = log.read_bytes()
    with pytest.raises(InputError, match="has to stay as it is"):
        write(named(log))
    assert log.read_bytes() == before
    assert not list(log.parent.glob("**/*.part"))


@pytest.mark.parametrize("named", NAMES)
def test_a_protected_file_is_not_written_over_by_any_of_its_names(
    named: Callable[[Path], Path], tmp_path: Path
) -> None:
    station = tmp_path / "station.toml"
    station.write_text("as it was", encoding="utf-8")
    with pytest.raises(InputError, match="which has to stay as it is"):
        write(named(station), tmp_path / "other", station)
    assert station.read_text(encoding="utf-8") == "as it was"


def test_what_may_stand_beside_a_log_is_protected_before_it_is_there(log: Path) -> None:
    names = {path.name.removeprefix("itn.tblog") for path in files_of(log)}
    assert names == {"", "-wal", "-shm", "-journal", ".lock"}
    for path in files_of(log):
        with pytest.raises(InputError, match="has to stay as it is"):
            write(path, *files_of(log))


def test_the_file_that_is_written_first_takes_no_protected_name(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"over .*a\.part"):
        write(tmp_path / "a", tmp_path / "a.part")


def test_a_link_is_followed_and_stays(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    old = tmp_path / "far" / "table.csv"
    old.write_bytes(b"old")
    link = tmp_path / "table.csv"
    link.symlink_to(old)
    write(link)
    assert link.is_symlink()
    assert old.read_bytes() == b"new"


def test_a_pipe_is_refused_and_stays(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for name in (pipe, by_link(pipe)):
        with pytest.raises(InputError, match="is no regular file"):
            write(name)
    assert pipe.is_fifo()


@pytest.mark.parametrize("name", ["", ".", "/"])
def test_a_folder_is_no_file(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty name means this folder."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match="is a folder"):
        write(Path(name))
    assert list(tmp_path.iterdir()) == []


def test_links_in_a_circle_lead_nowhere(tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    one.symlink_to(other)
    other.symlink_to(one)
    with pytest.raises(InputError, match="no regular file"):
        write(one)


def test_any_other_file_may_be_written_over(tmp_path: Path) -> None:
    other = tmp_path / "other.db"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE t (x)")
    connection.close()
    assert not is_log(other)
    write(other, tmp_path / "not there")
    assert other.read_bytes() == b"new"
    assert writable(tmp_path / "fresh") == tmp_path.resolve() / "fresh"
