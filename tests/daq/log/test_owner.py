"""A log belongs to the station that its first run was made for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import InputError, LogBusy, Refused
from daq.log.entry import Kind
from daq.log.owner import open_station_log, open_station_log_for_writing
from daq.station import Station, parse_station
from tests.procedures.engine.desk import STATION_TEXT


def station(folder: Path, *changes: tuple[str, str]) -> Station:
    text = STATION_TEXT
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    return parse_station(text, folder / "station.toml")


def run_of(one: Station, clock: ManualClock, text: str | None = None) -> None:
    with open_station_log_for_writing(one, clock) as writer:
        body = {"station_text": one.text if text is None else text}
        writer.append(writer.next_run(), Kind.RUN_STARTED, "routine", body)


def read(one: Station, _clock: ManualClock) -> None:
    open_station_log(one).close()


def write(one: Station, clock: ManualClock) -> None:
    open_station_log_for_writing(one, clock).close()


@pytest.mark.parametrize("opened", [read, write])
@pytest.mark.parametrize(
    "change",
    [
        ('name = "Tarnholt aerodrome"', 'name = "Vestholm aerodrome"'),
        ('runway = "16"', 'runway = "34"'),
        ('ident = "ITN"', 'ident = "IVH"'),
    ],
)
def test_another_station_is_refused_with_both_names_and_a_remedy(
    change: tuple[str, str],
    opened: Callable[[Station, ManualClock], None],
    tmp_path: Path,
    clock: ManualClock,
) -> None:
    run_of(station(tmp_path), clock)
    other = station(tmp_path, change)
    before = other.log_path.read_bytes()
    with pytest.raises(Refused, match="'Tarnholt aerodrome', runway 16, ident ITN") as refusal:
        opened(other, clock)
    assert change[1].split('"')[1] in refusal.value.message
    assert "give `log` in the station file another name" in refusal.value.hint
    assert len(other.log_path.read_bytes()) == len(before)
    # The lock was let go: the station whose log it is goes on.
    run_of(station(tmp_path), clock)


@pytest.mark.parametrize("opened", [read, write])
def test_the_same_station_may_change_everything_else(
    opened: Callable[[Station, ManualClock], None], tmp_path: Path, clock: ManualClock
) -> None:
    run_of(station(tmp_path), clock)
    opened(station(tmp_path, ('category = "II"', 'category = "III"')), clock)


@pytest.mark.parametrize("text", ["", "not TOML [", "[station]", "station = 3"])
def test_a_first_run_that_names_no_station_leaves_it_to_the_next(
    text: str, tmp_path: Path, clock: ManualClock
) -> None:
    one = station(tmp_path)
    run_of(one, clock, text)
    other = station(tmp_path, ('ident = "ITN"', 'ident = "IVH"'))
    write(other, clock)
    run_of(one, clock)
    with pytest.raises(Refused, match="ident ITN"):
        write(other, clock)


def test_a_log_is_made_by_who_writes_and_not_by_who_reads(
    tmp_path: Path, clock: ManualClock
) -> None:
    one = station(tmp_path)
    with pytest.raises(InputError, match="there is no log"):
        read(one, clock)
    write(one, clock)
    read(one, clock)


def test_a_log_that_is_being_written_is_busy_whosever_it_is(
    tmp_path: Path, clock: ManualClock
) -> None:
    one = station(tmp_path)
    with open_station_log_for_writing(one, clock), pytest.raises(LogBusy):
        write(one, clock)
