"""Tracks out of NMEA text: what is taken, what is left out, what day it was."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from daq.nmea import checksum
from daq.nmea_track import parse_track
from daq.position import Fix

PLACE = "5715.00000,N,00430.00000,E"


def line(body: str) -> str:
    return f"${body}*{checksum(body):02X}"


def gga(clock: str, *, quality: int = 4) -> str:
    return line(f"GPGGA,{clock},{PLACE},{quality},09,0.9,31.0,M,40.0,M,,")


def rmc(clock: str, day: str, *, status: str = "A", mode: str = "R") -> str:
    return line(f"GPRMC,{clock},{status},{PLACE},0.0,,{day},,,{mode}")


def test_positions_come_from_gga_and_the_date_from_rmc() -> None:
    text = "\r\n".join([gga("094107.40"), rmc("094107.40", "251126"), gga("094107.60"), "noise"])
    track = parse_track(text)
    assert track.dated
    assert [fix.fix for fix in track.fixes] == [Fix.RTK_FIXED, Fix.RTK_FIXED]
    first = datetime(2026, 11, 25, 9, 41, 7, 400_000, tzinfo=UTC).timestamp()
    assert [fix.time_s for fix in track.fixes] == pytest.approx([first, first + 0.2])
    assert (track.fixes[0].latitude_deg, track.fixes[0].longitude_deg) == (57.25, 4.5)


def test_without_gga_both_come_from_rmc() -> None:
    track = parse_track("\n".join([rmc("094107", "251126", mode="A"), rmc("094108", "251126")]))
    assert [fix.fix for fix in track.fixes] == [Fix.SINGLE, Fix.RTK_FIXED]


def test_without_rmc_times_are_those_of_the_day() -> None:
    track = parse_track(gga("010000") + "\n" + gga("010001"))
    assert not track.dated
    assert [fix.time_s for fix in track.fixes] == [3600.0, 3601.0]


@pytest.mark.parametrize(
    ("first", "dated"),
    [
        (gga("235959.5"), rmc("000000.5", "261126")),
        (gga("235959.5"), rmc("235959.0", "251126")),
    ],
)
def test_midnight_lies_where_it_lies(first: str, dated: str) -> None:
    track = parse_track("\n".join([first, dated, gga("000000.5")]))
    begin = datetime(2026, 11, 25, 23, 59, 59, 500_000, tzinfo=UTC).timestamp()
    assert [fix.time_s for fix in track.fixes] == [begin, begin + 1.0]


def test_what_is_disturbed_has_no_fix_or_repeats_a_time_is_left_out_and_counted() -> None:
    disturbed = gga("094109").replace("5715", "5716")
    text = "\n".join([gga("094107"), disturbed, gga("094110", quality=0), gga("094107")])
    track = parse_track(text)
    assert (len(track.fixes), track.left_out) == (1, 3)


def test_a_file_without_positions_is_refused() -> None:
    with pytest.raises(InputError, match=r"t\.nmea: no position in it: 1 sentences of 2 lines"):
        parse_track("hello\n" + gga("094110", quality=0), name="t.nmea")
    with pytest.raises(InputError, match="no position"):
        parse_track(rmc("094107", "251126", status="V"))


@given(st.lists(st.sampled_from([gga("235959"), gga("000001"), rmc("1", "1"), "$GPRMC,", "$"])))
def test_sentences_in_any_order_give_increasing_times_or_an_input_error(lines: list[str]) -> None:
    try:
        track = parse_track("\n".join(lines))
    except InputError:
        return
    times = [fix.time_s for fix in track.fixes]
    assert times == sorted(set(times))


@given(st.text(max_size=100), st.text(st.sampled_from("0123456789.,NSEWAVRD-"), max_size=60))
def test_any_text_gives_a_track_or_an_input_error(text: str, fields: str) -> None:
    for body in (text, line(f"GPGGA,{fields}"), line(f"GNRMC,{fields}")):
        try:
            track = parse_track(body)
        except InputError:
            continue
        assert all(math.isfinite(fix.time_s) for fix in track.fixes)
