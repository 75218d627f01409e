from pathlib import Path

import pandas as pd
import pytest

from daq.errors import SamplesError
from daq.samples.series import plot_series, write_series
from daq.samples.stream import SeriesRow

ROWS = [
    SeriesRow(0.5, ddm=0.0012, ddm_u=0.0001, sdm=0.4, sdm_u=0.0001),
    SeriesRow(1.5, refused="Dead input: every sample is 0, so there."),
    SeriesRow(2.5, ddm=-0.0012, ddm_u=0.0001, sdm=0.4, sdm_u=0.0001),
]


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_a_series_is_read_back_by_pandas(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"a.{ending}"
    assert write_series(iter(ROWS), path) == 3
    table = pd.read_csv(path) if ending == "csv" else pd.read_parquet(path)
    assert list(table["t_s"]) == [0.5, 1.5, 2.5]
    assert table["ddm"][0] == 0.0012
    assert pd.isna(table["ddm"][1])
    assert table["refused"][1] == ROWS[1].refused


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_more_rows_than_are_held_at_once(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"a.{ending}"
    assert write_series((SeriesRow(float(k)) for k in range(9000)), path) == 9000
    table = pd.read_csv(path) if ending == "csv" else pd.read_parquet(path)
    assert list(table["t_s"]) == list(range(9000))


def test_no_rows_leave_a_heading(tmp_path: Path) -> None:
    assert write_series([], tmp_path / "a.csv") == 0
    assert (tmp_path / "a.csv").read_text().startswith("t_s,ddm,ddm_u,")


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SamplesError, match=r"\.csv or \.parquet"):
        write_series(ROWS, tmp_path / "a.xlsx")


@pytest.mark.parametrize(("ending", "magic"), [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_a_picture_with_a_gap(tmp_path: Path, ending: str, magic: bytes) -> None:
    plot_series(ROWS, tmp_path / f"a.{ending}")
    assert (tmp_path / f"a.{ending}").read_bytes().startswith(magic)
