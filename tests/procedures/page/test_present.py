"""What screens are told, in words and numbers."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.reading import QUANTITIES, Quality, Reading
from daq.roles import Action, Prompt, WatchView
from procedures.page.advice import Advice
from procedures.page.present import place, prompt_body, spoken, value_body, view_body
from procedures.terminal.bar import FULL_SCALE_BANDS

NONE = Advice("", "")


def view(shown: float, *, quality: Quality = Quality.OK, **changed: Any) -> WatchView:
    reading = Reading("ddm", shown, 0.0003, "receiver", "course width", 1, 2_000_000, 0, quality)
    fields: dict[str, Any] = {
        "key": "w",
        "instruction": "Turn it.",
        "control": "monitor width",
        "reading": reading,
        "shown": shown,
        "target": 0.155,
        "band": 0.001,
        "steady": False,
        "slope_per_s": 0.0,
        "rate_hz": 20.0,
        "best": None,
        "count": 3,
        "elapsed_s": 1.0,
        **changed,
    }
    return WatchView(**fields)


def test_a_ddm_is_shown_in_thousandths_and_microamperes_with_its_tone_in_words() -> None:
    """0.155 DDM = 150 uA (ICAO Annex 10, Volume I, as in the standards file)."""
    body = value_body("ddm", -0.155)
    assert (body["number"], body["unit"]) == ("155.0", "thousandths DDM")
    assert body["meaning"] == "90 Hz predominates"
    assert (body["ua"], body["tone"], body["plot"]) == ("150.0", 90, -155.0)
    assert value_body("ddm", 0.0)["tone"] == 0


@given(st.floats(0.0, 0.4), st.floats(0.0001, 0.05))
def test_the_pointer_never_shows_outside_as_inside(offset: float, band: float) -> None:
    gate, where = place(band, band), place(offset, band)
    assert gate is not None
    assert where is not None
    assert (where <= gate) == (offset <= band)
    assert 0.0 <= where <= 1.0
    assert place(-offset, band) == pytest.approx(-where)


def test_the_ends_of_the_pointer_are_those_of_the_terminal_s_bar() -> None:
    assert place(0.001 * FULL_SCALE_BANDS, 0.001) == pytest.approx(1.0)
    assert place(math.nan, 0.001) is None
    assert place(0.1, 0.0) is None


@pytest.mark.parametrize("quality", [q for q in Quality if q is not Quality.OK])
def test_a_reading_that_may_not_be_judged_shows_its_reason_and_no_number(quality: Quality) -> None:
    body = view_body(view(0.155, quality=quality), "q1", NONE, acts=True)
    assert body["words"] == str(quality)
    assert body["in_band"] is False
    assert body["distance"] == ""
    value = body["value"]
    assert isinstance(value, dict)
    assert value["number"] == ""


@given(st.sampled_from(sorted(QUANTITIES)), st.floats())
def test_whatever_is_read_can_be_sent(quantity: str, value: float) -> None:
    """JSON has no NaN and no infinity (RFC 8259, section 6)."""
    json.dumps(value_body(quantity, value), allow_nan=False)


def test_a_watched_value_without_target_still_has_a_centre_zero_for_ddm() -> None:
    body = view_body(view(0.02, target=None, band=None), "q1", NONE, acts=True)
    pointer = body["pointer"]
    assert isinstance(pointer, dict)
    assert pointer["place"] > 0.0
    assert pointer["ends"] == ["90 Hz", "150 Hz"]
    json.dumps(body, allow_nan=False)


def test_a_reference_value_has_a_place_and_words_in_both_units() -> None:
    """0.1553 DDM = 150.3 uA (0.155 DDM = 150 uA: ICAO Annex 10, as in the standards file)."""
    body = view_body(view(0.1549, reference=0.1553), "q1", NONE, acts=True)
    reference, pointer = body["reference"], body["pointer"]
    assert isinstance(reference, dict)
    assert isinstance(pointer, dict)
    assert reference["words"] == "reference 155.3 150 Hz, differs by −0.4, toward 90 Hz"
    assert reference["ua_words"] == "reference 150.3 µA 150 Hz, differs by −0.4 µA"
    assert pointer["reference"] == pytest.approx(place(0.0003, 0.001))
    assert reference["plot"] == pytest.approx(155.3)


def test_without_a_reference_value_or_a_reading_there_is_nothing_to_compare() -> None:
    body = view_body(view(0.155), "q1", NONE, acts=True)
    assert body["reference"] is None
    assert isinstance(body["pointer"], dict)
    assert body["pointer"]["reference"] is None
    frozen = view_body(view(0.155, reference=0.1553, quality=Quality.FROZEN), "q1", NONE, acts=True)
    assert isinstance(frozen["reference"], dict)
    assert "differs" not in frozen["reference"]["words"]
    assert "differs" not in frozen["reference"]["ua_words"]


def test_a_hazard_is_taken_out_of_the_instruction_as_a_caution() -> None:
    said = "Turn it. Reminder: the line is in. Reminder: the profile is set."
    body = view_body(view(0.1, instruction=said), "q1", NONE, acts=True)
    assert body["instruction"] == "Turn it."
    assert body["caution"] == "the line is in. the profile is set."


def test_a_prompt_is_told_with_what_the_hands_are_to_do() -> None:
    action = Action("cut", {"path": "sbo", "length_m": 0.9349})
    prompt = Prompt("cut", "number", "Shorten\x1b[2J it.", "", action, "m", 0.9349)
    body = prompt_body(prompt, "q7", acts=True)
    assert body["text"] == "Shorten?[2J it."
    assert body["suggestion"] == "0.935 m (36.8 in)"
    assert (body["verb"], body["id"], body["kind"]) == ("cut", "q7", "number")


@pytest.mark.parametrize(
    ("answer", "unit", "said"),
    [(True, "", "yes"), (False, "", "no"), ("a\nb", "", "a b"), (0.25, "m", "0.250 m (9.8 in)")],
)
def test_an_answer_is_repeated_in_words(answer: bool | str | float, unit: str, said: str) -> None:
    assert spoken(answer, unit) == said
