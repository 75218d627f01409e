"""Notes of any shape in plain words."""

import pytest

from procedures.record.model import NoteLine
from procedures.record.note_blocks import note_blocks, printed, words


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("length_m", 1.143, "1.143 m (45.0 in)"),  # 1 in = 25.4 mm by definition: 45.0 in
        ("phase_deg", -152.04, "−152.0°"),
        ("change_db", 3.542, "3.54 dB"),
        ("wide_ddm", 0.12867, "0.1287 DDM"),
        ("percent", 17, "17"),
        ("within_spare", True, "yes"),
        ("path", "sbo", "SBO"),
        ("reason", "spare = 1", "spare = 1"),
        ("nothing", None, "none"),
    ],
)
def test_value_has_the_unit_that_its_name_says(name: str, value: object, expected: str) -> None:
    assert printed(name, value) == expected


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("phase_left_u_deg", "u of phase left"),
        ("fine_control_deg", "fine control"),
        ("ddm_in_phase", "DDM in phase"),
        ("u_deg", "u"),
    ],
)
def test_name_in_words(name: str, expected: str) -> None:
    assert words(name) == expected


def test_list_of_objects_becomes_a_table_with_its_subject_first() -> None:
    body = {
        "stage": "monitor",
        "cuts": [
            {"fine_control_deg": 3.4, "length_m": 0.936, "note": "", "path": "sbo"},
            {"fine_control_deg": -3.4, "length_m": 1.271, "note": "", "path": "csb"},
        ],
    }
    head, table = note_blocks(NoteLine(0, "k", "Trim plan", body), "08:00:00")
    assert head["pairs"] == [["stage", "monitor"]]
    assert table["columns"] == ["path", "fine control", "length"]  # the empty note is left out
    assert table["rows"] == [
        ["SBO", "3.4°", "0.936 m (36.9 in)"],
        ["CSB", "−3.4°", "1.271 m (50.0 in)"],
    ]


def test_objects_in_objects_keep_their_place() -> None:
    body = {"first": {"second": {"length_m": 1.0}}, "words": ["a", "b"], "none": []}
    (head,) = note_blocks(NoteLine(0, "k", "T", body), "08:00:00")
    assert head["pairs"] == [
        ["first: second: length", "1.000 m (39.4 in)"],
        ["words", "a, b"],
        ["none", "none"],
    ]
