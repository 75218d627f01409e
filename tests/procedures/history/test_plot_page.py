"""The page of all trends: which panels stand on it, and that they are told apart."""

from __future__ import annotations

from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from daq.clock import ManualClock
from daq.errors import InputError
from daq.log.reader import LogReader
from procedures.history.plot_page import PANELS, draw_page, trends_page, write_page
from procedures.history.trend import SAID, Attention, make_trends
from tests.procedures.history.log_of_years import write_five_years, write_station


@pytest.fixture(scope="module")
def trends(tmp_path_factory):
    station, clock = write_station(tmp_path_factory.mktemp("years")), ManualClock()
    write_five_years(station, clock)
    with LogReader(station.log_path) as reader:
        return make_trends(reader, station, clock.utc_ns())


def drawn(trends):
    figure = Figure(layout="constrained")
    draw_page(figure, trends, "ITN")
    return figure


def titles(figure):
    return [axes.get_title(loc="left") for axes in figure.axes if axes.get_visible()]


def test_each_parameter_has_a_panel_in_the_order_of_urgency(trends):
    figure = drawn(trends)
    assert titles(figure) == [f"{t.parameter.name}: {SAID[t.attention]}" for t in trends]
    assert "3 parameters" in figure.get_suptitle()


def test_what_does_not_fit_is_counted_and_the_urgent_stays(trends):
    many = (replace(trends[0], attention=Attention.OUT), *trends * 6)
    figure = drawn(many)
    found = titles(figure)
    assert len(found) == PANELS
    assert found[0].endswith("out of limits")
    assert f"{PANELS} most urgent of {len(many)}" in figure.get_suptitle()
    weights = [axes._left_title.get_fontweight() for axes in figure.axes]
    assert (weights[0], set(weights[1:])) == ("bold", {"normal"})


def test_all_panels_have_one_scale_of_time_and_dates_below_the_last(trends):
    figure = drawn(trends)
    shown = [axes for axes in figure.axes if axes.get_visible()]
    assert len({axes.get_xlim() for axes in shown}) == 1
    dated = [any(label.get_visible() for label in axes.get_xticklabels()) for axes in shown]
    assert dated == [False, True, True]


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_equal_trends_give_equal_bytes(trends, kind):
    assert trends_page(trends, "ITN", kind) == trends_page(trends, "ITN", kind)


def test_a_dollar_in_a_name_starts_no_mathematics(trends):
    odd = replace(trends[0], parameter=replace(trends[0].parameter, point="a$b$c_"))
    assert trends_page((odd,), "I$TN$").startswith(b"<?xml")


def test_a_page_is_svg_or_png_of_something(trends, tmp_path):
    write_page(trends, "ITN", tmp_path / "page.png")
    assert (tmp_path / "page.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(InputError, match=r"an \.svg or a \.png"):
        write_page(trends, "ITN", tmp_path / "page.pdf")
    with pytest.raises(InputError, match="Nothing was measured as found"):
        write_page((), "ITN", tmp_path / "page.svg")
