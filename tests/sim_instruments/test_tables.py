"""Tables of a station file as dataclasses."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from sim_instruments.tables import read_table


@dataclass(frozen=True)
class Inner:
    depth: float = 0.2


@dataclass(frozen=True)
class Outer:
    count: int = 1
    name: str = "A"
    inner: Inner = field(default_factory=Inner)


def test_tables_in_tables():
    """What is stated is taken, the rest stays."""
    assert read_table(Outer, {"inner": {"depth": 1}, "name": "B"}, "t") == Outer(1, "B", Inner(1.0))


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({"inner": {"dept": 1}}, r"t\.inner\.dept: unknown key; known are depth"),
        ({"inner": {"depth": "x"}}, r"t\.inner\.depth: a number is expected, not 'x'"),
        ({"inner": 3}, r"t\.inner: a table is expected, not 3"),
        ({"name": 3}, r"t\.name: text is expected, not 3"),
        ({"count": 1.5}, r"t\.count: a whole number is expected"),
        ({"count": True}, r"t\.count: a whole number is expected"),
    ],
)
def test_the_message_names_the_key(table, message):
    with pytest.raises(ValueError, match=message):
        read_table(Outer, table, "t")
