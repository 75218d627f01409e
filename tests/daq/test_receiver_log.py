"""A receiver's own log: units, signs, times, gaps, and what is wrong with line and column."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from daq.reading import Quality
from daq.receiver_log import LogRows, parse_receiver_log
from daq.station_receiver_log import ReceiverLog


def layout(**more: object) -> ReceiverLog:
    return ReceiverLog.model_validate({"ddm_unit": "ratio", "positive": 150, "u": 0.0005, **more})


def parsed(text: str, **more: object) -> LogRows:
    return parse_receiver_log(text, layout(**more), name="drive.csv")


@pytest.mark.parametrize(
    ("unit", "positive", "cell", "ddm"),
    [
        ("ratio", 150, "0.155", 0.155),
        ("ratio", 90, "0.155", -0.155),
        ("%", 150, "-15.5", -0.155),
        ("uA", 90, "150", -0.155),
        ("uA", 150, "+150", 0.155),
    ],
)
def test_unit_and_sign_are_those_that_were_stated(
    unit: str, positive: int, cell: str, ddm: float
) -> None:
    """150 uA for 0.155 DDM: the deviation current of a localizer (ICAO Annex 10)."""
    found = parsed(f"time,ddm\n09:00:00,{cell}\n", ddm_unit=unit, positive=positive)
    assert found.rows[0].ddm == pytest.approx(ddm)


def test_columns_are_found_by_name_and_others_do_not_matter() -> None:
    text = (
        "\ufeff# Tarnholt\nnote;UTC;Ablage;Summe;Pegel;Weg\n\n"
        "a;2026-11-25T09:41:07,5Z;-12,5;40,1;-48;3,25\nb;2026-11-25T09:41:08Z;-12;40;-48;\n"
    )
    found = parsed(
        text, separator=";", time="UTC", ddm="Ablage", ddm_unit="%", sdm="Summe", level="Pegel",
        offset="Weg",
    )  # fmt: skip
    first, second = found.rows
    assert found.dated
    assert found.axis == "offset_m"
    assert first.time_s == datetime(2026, 11, 25, 9, 41, 7, 500_000, tzinfo=UTC).timestamp()
    assert (first.line, first.position, first.level_dbm) == (4, (3.25,), -48.0)
    assert (first.ddm, first.sdm) == pytest.approx((-0.125, 0.401))
    assert math.isnan(second.position[0])
    assert first.raw == "a;2026-11-25T09:41:07,5Z;-12,5;40,1;-48;3,25"


def test_rows_that_may_not_be_used_stay_with_their_reason() -> None:
    text = "time,ddm,state\n09:00:00,0.1,OK\n09:00:01,0.1,LOW\n09:00:02,----,OK\n09:00:03,0.9,OK\n"
    found = parsed(text, flag="state")
    assert [row.quality for row in found.rows] == [
        Quality.OK, Quality.FLAGGED, Quality.NO_VALUE, Quality.IMPOSSIBLE,
    ]  # fmt: skip
    assert [row.usable for row in found.rows] == [True, False, False, False]


def test_a_time_of_day_goes_on_past_midnight() -> None:
    found = parsed("time,ddm\n23:59:59.5,0\n00:00:00.25,0\n00:00:01,0\n")
    assert [row.time_s for row in found.rows] == [86399.5, 86400.25, 86401.0]
    assert not found.dated


def test_an_offset_from_utc_is_taken_off() -> None:
    found = parsed("time,ddm\n2026-11-25T10:00:00+01:00,0\n")
    assert found.rows[0].time_s == datetime(2026, 11, 25, 9, tzinfo=UTC).timestamp()


def test_seconds_are_taken_as_they_are() -> None:
    found = parsed("time,ddm\n-1.5,0\n2,0\n", time_unit="s")
    assert [row.time_s for row in found.rows] == [-1.5, 2.0]


@pytest.mark.parametrize(
    ("text", "more", "message"),
    [
        ("", {}, "drive.csv: the receiver's log is empty"),
        ("t,ddm\n1,2\n", {}, "drive.csv:1: there is no column 'time'. Found: t, ddm"),
        ("time,ddm,ddm\n1,2,3\n", {}, "more than one column 'ddm'"),
        ("time,ddm\n", {}, "none of its 0 rows"),
        ("time,ddm\n09:00:00,----\n", {}, "none of its 1 rows has a DDM that may be used"),
        ("time,ddm\n09:00:00,x\n", {}, "drive.csv:2: column 'ddm' holds 'x'; a number in ratio"),
        ("time,ddm\n09:00:00,nan\n", {"ddm_unit": "%"}, "holds 'nan'; a number in % was expected"),
        ("time,ddm\n09:00:00,1e99\n", {}, "holds '1e99'"),
        ("time,ddm\n9 o'clock,0\n", {}, "column 'time' holds .*; UTC as 2026"),
        ("time,ddm\n0126-11-25T09:00:00Z,0\n", {}, "holds '0126-11-25T09:00:00Z'; UTC as 2026"),
        ("time,ddm\n----,0\n", {"time_unit": "s"}, "holds '----'; seconds was expected"),
        ("time,ddm\n09:00:00,0\n09:00:00,0\n", {}, "drive.csv:3: .* not later than the row before"),
        ("time,ddm\n09:00:00,0\n2026-11-25,0\n", {}, "a time dated after times of day"),
        ("time,ddm\n09:00:00\n", {}, "drive.csv:2: 1 cells where the header has 2"),
        ('time,ddm\n"09:00:00,0\n', {}, "drive.csv:2: this is no row of a CSV file"),
        ("time,ddm,x\n09:00:00,0,1e6\n", {"offset": "x"}, "column 'x' .*-100000 to 100000 m"),
        (
            "time,ddm,a,o\n09:00:00,0,91,0\n",
            {"latitude": "a", "longitude": "o"},
            "column 'a' holds 91; -89.9 to 89.9 degrees",
        ),
    ],
)
def test_what_is_wrong_is_said_with_line_column_and_what_was_expected(
    text: str, more: dict[str, object], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        parsed(text, **more)


CELLS = st.text(st.sampled_from('0123456789.,;:+-eTZ"\t\x00 na'), max_size=14)


@given(st.text(max_size=80), st.lists(CELLS, max_size=6), st.sampled_from(["utc", "s"]))
def test_any_text_gives_rows_or_an_input_error(text: str, cells: list[str], unit: str) -> None:
    for body in (text, "time,ddm,x\n" + text, "time,ddm,x\n" + ",".join(cells)):
        try:
            found = parsed(body, time_unit=unit, offset="x")
        except InputError:
            continue
        times = [row.time_s for row in found.rows]
        assert times == sorted(set(times))
        assert all(math.isfinite(row.ddm) for row in found.rows if row.usable)


SOME_DAY = st.datetimes(datetime.fromisoformat("1980-01-01"), datetime.fromisoformat("2199-12-31"))


@given(SOME_DAY.map(lambda moment: moment.replace(tzinfo=UTC)), st.floats(-0.3, 0.3))
def test_what_is_written_is_read_back(moment: datetime, ddm: float) -> None:
    (row,) = parsed(f"time,ddm\n{moment.isoformat()},{ddm!r}\n").rows
    assert row.time_s == pytest.approx(moment.timestamp(), abs=1e-4)
    assert row.ddm == ddm


STILL = {"noise": "0.0001", "resolution": "0.0001"}


def _seconds(cells: list[str]) -> str:
    rows = (f"{n},{cell}" for n, cell in enumerate(cells))
    return "\n".join(["time,ddm", *rows])


def test_values_that_stand_still_are_frozen_where_the_noise_is_known() -> None:
    """18 equal ones in a row are more than that noise allows (`daq.frozen`)."""
    cells = ["0.0011", "0.0012", *["0.0013"] * 18, "----", "0.0014"]
    known = parsed(_seconds(cells), time_unit="s", **STILL)
    assert [row.line for row in known.rows if row.quality is Quality.FROZEN] == [*range(4, 22)]
    assert known.rows[20].quality is Quality.NO_VALUE
    assert not any(row.usable for row in known.rows[2:20])
    unknown = parsed(_seconds(cells), time_unit="s")
    assert sum(row.usable for row in unknown.rows) == 21


def test_a_log_that_stands_still_throughout_cannot_be_used() -> None:
    with pytest.raises(InputError, match="none of its 30 rows has a DDM that may be used"):
        parsed(_seconds(["0.155"] * 30), time_unit="s", **STILL)
