"""Traverses from CSV."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.traverse_file import parse_traverse, read_traverse

GOOD = "# field, morning\nu_ddm, ddm, offset_m, note\n\n0.001,0.072,50,dry\n0.001,-0.07,-50,\n"


def test_columns_come_in_any_order_and_points_are_sorted(tmp_path: Path) -> None:
    path = tmp_path / "traverse.csv"
    path.write_text("\ufeff" + GOOD.replace("\n", "\r\n"), encoding="utf-8")
    traverse = read_traverse(path)
    assert traverse.axis == "offset_m"
    assert traverse.position.tolist() == [-50.0, 50.0]
    assert traverse.ddm.tolist() == [-0.07, 0.072]
    assert traverse.u_ddm is not None
    assert np.all(traverse.u_ddm == 0.001)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("offset_m,ddm\n", "no readings"),
        ("x,ddm\n1,2\n", "t.csv:1: there is no column named offset_m or angle_deg. Found: x, ddm"),
        ("offset_m,u\n1,2\n", "no column named ddm"),
        ("offset_m,angle_deg,ddm\n1,1,0\n", "not both"),
        ("offset_m,ddm,ddm\n1,0,0\n", "appears twice"),
        ("offset_m,ddm\n1,0.1\n2,one\n", "t.csv:3: ddm is 'one'"),
        ("offset_m,ddm\n1,nan\n", "t.csv:2: ddm is nan"),
        ("offset_m,ddm\n1,15.5\n", "a ratio such as 0.155"),
        ("offset_m,ddm\n1,0,1\n", "3 cells where the header has 2"),
        ("offset_m,ddm,u_ddm\n1,0,0\n", "a standard uncertainty is positive"),
        ('offset_m,ddm\n"1\n2",0\n', "more than one line"),
        ('offset_m,ddm\n"1"x,0\n', "not a CSV"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_traverse(text, name="t.csv")


@pytest.mark.parametrize(
    "text",
    [
        "offset_m;ddm\n-10,5;-0,015\n0;0\n10,5;0,015\n",
        "offset_m\tddm\n-10.5\t-0.015\n0\t0\n10.5\t0.015\n",
        "Offset (m), DDM\n-10.5, -0.015\n0, 0\n10.5, 0.015\n",
        'remark;"offset m";"DDM"\n;-10,5;-0,015\nhere;0;0\n;10,5;0,015\n',
    ],
)
def test_tables_as_spreadsheets_write_them(text: str) -> None:
    found = parse_traverse(text)
    assert found.axis == "offset_m"
    assert list(found.position) == [-10.5, 0.0, 10.5]
    assert list(found.ddm) == [-0.015, 0.0, 0.015]


@pytest.mark.parametrize(
    ("unit", "found"),
    [("uA", "ua"), ("µA", "ua"), ("μA", "ua"), ("%", "percent"), ("‰", "permille")],
)
def test_a_column_in_another_unit_is_not_taken_for_a_ratio(unit: str, found: str) -> None:
    """0.3 per cent is 0.003, and would pass for 0.3."""
    with pytest.raises(InputError, match=rf"no column named ddm\. Found: offset_m, ddm_{found}"):
        parse_traverse(f"offset_m;DDM ({unit})\n-10;-0.3\n10;0.3\n")
    with pytest.raises(InputError, match=f"u_ddm_{found} is no ratio as ddm is"):
        parse_traverse(f"offset_m;DDM;u_ddm [{unit}]\n-10;-0.3;0.1\n10;0.3;0.1\n")


def test_a_column_in_another_unit_beside_that_of_ratios_is_ignored() -> None:
    text = (
        "offset_m,ddm,DDM (%),u_ddm,u_ddm (%)\n-10,-0.003,-0.3,0.001,0.1\n10,0.003,0.3,0.001,0.1\n"
    )
    found = parse_traverse(text)
    assert list(found.ddm) == [-0.003, 0.003]
    assert found.u_ddm is not None
    assert list(found.u_ddm) == [0.001, 0.001]


def test_a_missing_or_binary_file_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="No such file"):
        read_traverse(tmp_path / "none.csv")
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(InputError, match="no text file"):
        read_traverse(binary)


@given(st.text(max_size=60))
def test_any_text_gives_a_traverse_or_an_input_error(text: str) -> None:
    for body in (text, "offset_m,ddm\n" + text):
        try:
            traverse = parse_traverse(body)
        except InputError:
            continue
        assert np.all(np.isfinite(traverse.ddm))
