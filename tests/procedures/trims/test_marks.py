"""Marks on the ground from CSV."""

import pytest

from daq.errors import InputError
from procedures.trims.marks import Marks, read_marks


def written(tmp_path, text):
    path = tmp_path / "marks.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_marks_are_sorted_and_other_columns_ignored(tmp_path):
    marks = read_marks(written(tmp_path, "# stakes\nname,offset_m\n\na,3\nb,-4.5\nc,0\n"))
    assert marks == Marks("offset_m", (-4.5, 0.0, 3.0))
    assert Marks.from_body({"axis": "offset_m", "position": [-4.5, 0.0, 3.0]}) == marks


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "found: nothing"),
        ("x,y\n1,2\n", "found: x, y"),
        ("offset_m,angle_deg\n1,2\n", "one column named"),
        ("offset_m\n1\n2\n", "3 marks or more"),
        ("offset_m\n1\n1\n2\n3\n", "none of them twice"),
        ("offset_m\n1\n2\nthree\n", r":4: 'three' is no number"),
        ("a,offset_m\n1,2\n1,3\n1\n", r":4: '' is no number"),
        ("offset_m\n1\n2\nnan\n", "no number"),
    ],
)
def test_marks_that_cannot_be_used_are_refused(tmp_path, text, match):
    with pytest.raises(InputError, match=match):
        read_marks(written(tmp_path, text))


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_marks(tmp_path / "none.csv")
