"""Rows of the log as screens get them."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.log.entry import Entry, Kind
from procedures.page.rows import row_body


def entry(kind: Kind, body: dict[str, object], key: str = "k") -> Entry:
    return Entry(7, 1, kind, key, 1_800_000_000_000_000_000, 5_000_000, body, b"")


def outcome(request: dict[str, object], result: dict[str, object] | None = None) -> Entry:
    return entry(Kind.OUTCOME, {"request": request, "outcome": result or {}})


READING: dict[str, object] = {
    "quantity": "ddm",
    "point": "course width",
    "value": 0.155,
    "source": "receiver",
    "quality": "ok",
}


def test_a_reading_brings_its_number_its_words_and_the_server_s_time() -> None:
    row = row_body(entry(Kind.READING, READING))
    assert (row["seq"], row["what"], row["mono_ms"]) == (7, "reading", 5.0)
    value = row["value"]
    assert isinstance(value, dict)
    assert value["number"] == "155.0"
    assert row["words"] == ""


@pytest.mark.parametrize(
    ("changed", "words"),
    [({"quality": "frozen"}, "frozen"), ({"value": None}, "no value")],
)
def test_a_reading_without_a_value_says_why(changed: dict[str, object], words: str) -> None:
    row = row_body(entry(Kind.READING, {**READING, **changed}))
    assert row["words"] == words
    assert row["place"] is None


def test_a_row_that_carries_a_reference_value_says_how_far_it_is() -> None:
    said = "reference 155.3 150 Hz, differs by −0.3, toward 90 Hz"
    row = row_body(entry(Kind.READING, {**READING, "reference": 0.1553}))
    assert row["beside"] == said
    assert "beside" not in row_body(entry(Kind.READING, READING))
    request: dict[str, object] = {"do": "measure", "point": "course width", "label": "as found"}
    result: dict[str, object] = {
        "quantity": "ddm",
        "value": 0.155,
        "steady": True,
        "reference": 0.1553,
    }
    assert row_body(outcome(request, result))["beside"] == said
    request = {"do": "adjust", "point": "course width", "control": "c", "reference": 0.1553}
    result = {"after": {"quantity": "ddm", "value": 0.155}, "elapsed_s": 3.0, "readings": 60}
    assert row_body(outcome(request, result))["beside"] == said


def test_a_verdict_says_value_uncertainty_limits_and_source() -> None:
    row = row_body(
        outcome(
            {
                "do": "judge",
                "title": "course width, as left",
                "quantity": "ddm",
                "value": 0.1552,
                "u": 0.0003,
                "low": 0.154,
                "high": None,
                "source": "station file",
                "verdict": "in tolerance",
            }
        )
    )
    assert row["what"] == "verdict"
    assert row["said"] == "0.1552, 150 Hz predominates (DDM)"
    assert row["uncertainty"] == "± 0.0006 (k=2)"
    assert row["limits"] == "at least 0.1540, 150 Hz predominates (DDM)"


def test_a_trim_plan_keeps_what_the_drawing_needs() -> None:
    cut = {"path": "sbo", "length_m": 0.9349, "phase_left_deg": -3.3, "within_spare": True}
    row = row_body(outcome({"do": "note", "title": "Trim plan", "stage": "monitor", "cuts": [cut]}))
    assert row["what"] == "plan"
    cuts = row["cuts"]
    assert isinstance(cuts, list)
    assert cuts[0]["said"] == "0.935 m (36.8 in)"


def test_an_answer_says_who_gave_it() -> None:
    row = row_body(
        outcome({"do": "confirm", "text": "Done?"}, {"answer": True, "by": "technician (page)"})
    )
    assert (row["what"], row["said"], row["by"]) == ("answer", "yes", "technician (page)")


def test_a_gap_names_the_instrument() -> None:
    error = {"message": "no answer", "instrument": "receiver (ASRL)"}
    row = row_body(entry(Kind.EVENT, {"event": "gap", "error": error}))
    assert (row["title"], row["said"], row["source"]) == ("gap", "no answer", "receiver (ASRL)")


def test_the_end_names_what_was_not_put_back() -> None:
    body: dict[str, object] = {"result": "aborted", "message": "x", "open_hazards": ["line in"]}
    assert row_body(entry(Kind.RUN_ENDED, body))["hazards"] == ["line in"]


JSON = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
DEEDS = ["judge", "measure", "adjust", "confirm", "number", "text", "note", "other"]


@given(
    st.sampled_from(list(Kind)),
    st.dictionaries(
        st.sampled_from(["request", "outcome", "event", "error", "open_hazards", "instruments"]),
        JSON,
    ),
    st.sampled_from(DEEDS),
)
def test_no_row_of_any_procedure_stops_the_page(
    kind: Kind, body: dict[str, object], do: str
) -> None:
    """A procedure that is not written yet notes what it likes; the page shows what it can."""
    request = body.get("request")
    if isinstance(request, dict):
        body = {**body, "request": {**request, "do": do}}
    json.dumps(row_body(entry(kind, body)), allow_nan=False)
