"""A log belongs to the station whose ident its newest run bears."""

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

IDENT = ('ident = "ITN"', 'ident = "IVH"')


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


def test_a_log_of_another_ident_is_not_written_and_the_refusal_says_both_and_a_remedy(
    tmp_path: Path, clock: ManualClock
) -> None:
    run_of(station(tmp_path), clock)
    other = station(tmp_path, IDENT)
    before = other.log_path.read_bytes()
    with pytest.raises(Refused, match="'Tarnholt aerodrome', runway 16, ident ITN") as refusal:
        write(other, clock)
    assert "IVH" in refusal.value.message
    assert "give `log` in the station file another name" in refusal.value.hint
    assert "trimbench ident-changed" in refusal.value.hint
    assert len(other.log_path.read_bytes()) == len(before)
    # The lock was let go: the station whose log it is goes on.
    run_of(station(tmp_path), clock)


def test_a_log_of_another_ident_is_read_with_a_warning(tmp_path: Path, clock: ManualClock) -> None:
    run_of(station(tmp_path), clock)
    told: list[str] = []
    open_station_log(station(tmp_path, IDENT), told.append).close()
    assert "ident ITN" in told[0]
    assert "ident IVH" in told[0]


@pytest.mark.parametrize(
    "change",
    [
        ('name = "Tarnholt aerodrome"', 'name = "Tarnholt Aerodrome"'),
        ('runway = "16"', 'runway = "17"'),
    ],
)
def test_a_name_or_a_runway_that_changed_is_told_and_goes_on(
    change: tuple[str, str], tmp_path: Path, clock: ManualClock
) -> None:
    """Until the first run under the new one: the log is of that from then on."""
    run_of(station(tmp_path), clock)
    renamed = station(tmp_path, change)
    told: list[str] = []
    open_station_log(renamed, told.append).close()
    open_station_log_for_writing(renamed, clock, told.append).close()
    assert len(told) == 2
    assert all(change[1].split('"')[1] in said for said in told)
    run_of(renamed, clock)
    del told[:]
    open_station_log_for_writing(renamed, clock, told.append).close()
    assert told == []


def test_without_anybody_to_tell_a_warning_goes_to_standard_error(
    tmp_path: Path, clock: ManualClock, capsys: pytest.CaptureFixture[str]
) -> None:
    run_of(station(tmp_path), clock)
    read(station(tmp_path, ('runway = "16"', 'runway = "17"')), clock)
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("warning: ")


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
    other = station(tmp_path, IDENT)
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
