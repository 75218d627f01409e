"""The block and the line that show a watched value."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from daq.reading import QUANTITIES, Quality
from procedures.terminal.frame import block, fit, one_line, reference_line


def texts(lines) -> list[str]:
    return [line.text.rstrip() for line in lines]


def test_the_block_at_60_columns(make_view):
    assert texts(block(make_view(), 60)) == [
        "   ▄█ █  █ ▀▀▀█   ▀▀▀█  thousandths DDM",
        "    █ ▀▀▀█ █▀▀▀      █  150 Hz predominates",
        "    █    █ █▄▄▄ ▄    █  ratio 0.1427, 138.1 uA, moving",
        " 90 Hz ──────────█────────╞══┼══╡─────────────────── 150 Hz",
        " 12.3 thousandths to go, more 150 Hz",
        " 01:23   target 155.0 150 Hz   best 153.1 150 Hz   10/s",
    ]


def test_the_block_in_ascii_names_the_band_in_words(make_view):
    lines = block(make_view(0.1552, steady=True), 60, unicode=False)
    assert texts(lines) == [
        "  155.2 thousandths DDM",
        "  150 Hz predominates",
        "  ratio 0.1552, 150.2 uA, steady",
        " 90 Hz -------------------[==|#=]------------------- 150 Hz",
        " IN THE BAND, 0.2 thousandths from the target",
        " 01:23   target 155.0 150 Hz   best 153.1 150 Hz   10/s",
    ]
    assert lines[0].weight == "good"


def test_a_watch_without_a_target_has_no_bar_but_for_ddm(make_view):
    view = make_view(-43.2, quantity="rf_level", target=None, band=None, best=None)
    assert texts(block(view, 80, unicode=False)) == ["  -43.2 dBm", "", "  moving", " 01:23   10/s"]
    assert any("90 Hz" in t for t in texts(block(make_view(target=None, band=None), 80)))


@pytest.mark.parametrize("quality", [q for q in Quality if q is not Quality.OK])
def test_a_reading_that_is_not_usable_shows_words_and_no_value(make_view, quality: Quality):
    """Neither digits, marker, distance nor stress pretend that there is a value."""
    view = make_view(0.155, quality=quality, best=None)
    lines = block(view, 80)
    shown = texts(lines)
    assert not any(line.weight == "good" for line in lines)
    assert str(quality).upper() in shown[1]
    assert not re.search(r"\d", "".join(shown[:3]))
    assert not set("█◀▶") & set("".join(shown))
    assert "from the target" not in "".join(shown)
    assert one_line(view, 80).split("  ")[1] == str(quality).upper()


def test_a_usable_reading_that_has_no_smoothed_value_yet_shows_no_value(make_view):
    view = make_view(math.nan, best=None)
    assert "NO VALUE" in texts(block(view, 80))[1]
    assert one_line(view, 80).startswith("01:23  NO VALUE")


def test_the_note_is_last(make_view):
    assert texts(block(make_view(), 80, note="Stop the run?"))[-1] == ">>> Stop the run?"


def test_one_line_drops_the_bar_then_the_unit(make_view):
    view = make_view()
    wide = "01:23  142.7 thousandths, 150 Hz predominates, 12.3 to go, more 150 Hz"
    assert one_line(view, 100) == wide + "  ----#---[=|=]--------"
    assert one_line(view, 80) == wide
    assert one_line(view, 60) == "01:23  142.7, 150 Hz predominates, 12.3 to go, more 150 Hz"
    volts = make_view(1.38, quantity="vpp", target=1.5, band=0.02)
    assert one_line(volts, 40) == "01:23  1.380 V, 0.120 V to go, raise"


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize("unicode", [True, False])
def test_the_reference_and_the_difference_stand_under_the_distance_uncut(
    make_view, width: int, unicode: bool
):
    """Both fit into 60 columns, with the widest DDM that a receiver shows."""
    for shown, words in (
        (0.1549, " reference 155.3 150 Hz, differs by -0.4, toward 90 Hz"),
        (-0.3999, " reference 155.3 150 Hz, differs by -555.2, toward 90 Hz"),
    ):
        lines = block(make_view(shown, reference=0.1553), width, unicode=unicode)
        assert texts(lines)[-2] == words
        assert lines[-2].weight == "plain"


def test_without_a_reference_nothing_is_said_of_one(make_view):
    view = make_view()
    assert not any("reference" in text for text in texts(block(view, 80)))
    assert reference_line(view, 80) == ""


def test_a_watch_without_a_target_has_its_reference_all_the_same(make_view):
    view = make_view(-43.2, quantity="rf_level", target=None, band=None, best=None, reference=-43.0)
    assert " reference -43.0 dBm, differs by -0.2 dB" in texts(block(view, 80))


def test_under_the_one_line_the_reference_has_a_line_of_its_own(make_view):
    view = make_view(0.1549, reference=0.1553)
    words = "       reference 155.3 150 Hz, differs by -0.4, toward 90 Hz"
    assert reference_line(view, 60) == reference_line(view, 80) == words
    assert "reference" not in one_line(view, 80)


def test_a_reading_without_a_value_differs_by_nothing(make_view):
    view = make_view(0.155, quality=Quality.NO_VALUE, best=None, reference=0.1553)
    assert texts(block(view, 60))[-2] == " reference 155.3 150 Hz"


def test_what_is_cut_off_is_told():
    assert fit("predominates", 6) == "predo~"
    assert fit("predominates", 12) == "predominates"


VIEWS = st.fixed_dictionaries(
    {
        "shown": st.floats(),
        "quantity": st.sampled_from(sorted(QUANTITIES)),
        "target": st.none() | st.floats(allow_nan=False, allow_infinity=False),
        "band": st.none() | st.floats(min_value=0.0, allow_infinity=False),
        "quality": st.sampled_from(Quality),
        "best": st.none() | st.floats(),
        "reference": st.none() | st.floats(),
    }
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(view=VIEWS, note=st.text(max_size=80), width=st.integers(20, 200), unicode=st.booleans())
def test_no_line_is_wider_than_asked_and_nothing_raises(make_view, view, note, width, unicode):
    seen = make_view(**view)
    lines = [line.text for line in block(seen, width, note=note, unicode=unicode)]
    for text in [*lines, one_line(seen, width), reference_line(seen, width)]:
        assert cell_len(text) <= width
        assert text.isprintable()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(value=st.floats(-0.4, 0.4))
def test_one_line_is_plain_ascii(make_view, value):
    view = make_view(value, reference=0.1553)
    assert one_line(view, 100).isascii()
    assert reference_line(view, 100).isascii()
