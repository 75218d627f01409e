"""Events on the wire."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.page.events import event, last_id, retry


@given(st.text(), st.integers(0, 2**53))
def test_no_text_can_end_an_event_or_begin_another(text: str, seq: int) -> None:
    """WHATWG HTML 9.2.6: lines end at CR, LF or CRLF, events at an empty line."""
    wire = event("row", {"text": text}, seq=seq).decode()
    lines = wire.removesuffix("\n\n").splitlines()
    assert [line.partition(":")[0] for line in lines] == ["event", "id", "data"]
    assert json.loads(lines[2].removeprefix("data: ")) == {"text": text}


def test_a_number_that_json_cannot_hold_is_never_sent() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        event("now", {"value": float("nan")})


@pytest.mark.parametrize(
    ("given_id", "row"),
    [(None, 0), ("", 0), ("17", 17), ("-1", 0), ("1e3", 0), ("٣", 0), ("9" * 40, 0), ("x\n1", 0)],
)
def test_what_a_browser_says_it_saw_last(given_id: str | None, row: int) -> None:
    assert last_id(given_id) == row


def test_a_browser_is_told_how_soon_to_come_back() -> None:
    assert retry() == b"retry: 500\n\n"
