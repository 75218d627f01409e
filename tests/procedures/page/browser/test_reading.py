"""What stands beside the number: the reference value, the last minute, and room for both."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from daq.reading import Reading
from daq.roles import WatchView
from procedures.page.advice import NOTHING
from procedures.page.present import view_body
from tests.procedures.page.browser.test_live import begin_turning, until

if TYPE_CHECKING:
    from tests.procedures.page.browser.conftest import Screen
    from tests.procedures.page.conftest import Rig


def show(rig: Rig, *, reference: float | None) -> None:
    """Show one watched value beside a reference value."""
    now = rig.meter.clock.utc_ns(), rig.meter.clock.monotonic_ns()
    view = WatchView(
        key="w",
        instruction="Turn it.",
        control="monitor width",
        reading=Reading("ddm", 0.1549, 0.0003, "receiver", "course width", *now),
        shown=0.1549,
        target=0.155,
        band=0.001,
        steady=True,
        slope_per_s=0.0,
        rate_hz=20.0,
        best=0.155,
        count=3,
        elapsed_s=1.0,
        reference=reference,
    )
    rig.page.hub.publish("view", view_body(view, "q1", NOTHING, acts=True))


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ("thousandths", "reference 155.3 150 Hz, differs by −0.4, toward 90 Hz"),
        ("ua", "reference 150.3 µA 150 Hz, differs by −0.4 µA"),
    ],
)
def test_the_reference_value_is_a_mark_and_words(
    rig: Rig, screen: Screen, unit: str, words: str
) -> None:
    page = screen(rig.page.url, unit=unit)
    show(rig, reference=0.1553)
    until(page, f"document.querySelector('#reference').textContent === '{words}'")
    assert page.is_visible("#reference")
    mark = page.locator("#pointer .reference")
    assert mark.get_attribute("visibility") == "visible"
    middle = page.locator("#pointer .floor").bounding_box()
    place = mark.bounding_box()
    assert middle is not None
    assert place is not None
    right = place["x"] + place["width"] / 2 - middle["x"] - middle["width"] / 2
    assert right > 0.0, "it is on the side of more 150 Hz than the target"


def test_without_a_reference_value_there_is_neither(rig: Rig, screen: Screen) -> None:
    page = screen(rig.page.url)
    show(rig, reference=None)
    until(page, "document.querySelector('#digits').textContent === '154.9'")
    assert page.is_hidden("#reference")
    assert page.locator("#pointer .reference").get_attribute("visibility") == "hidden"


def test_the_number_is_drawn_with_every_reading_and_the_minute_a_few_times_a_second(
    rig: Rig, screen: Screen
) -> None:
    page = begin_turning(rig, screen)
    seq = "Number(document.querySelector('#meter').dataset.seq)"
    until(page, f"{seq} > 10")
    page.evaluate(
        "() => { window.minutes = 0; const real = CanvasRenderingContext2D.prototype.clearRect;"
        "CanvasRenderingContext2D.prototype.clearRect = function (...box) {"
        " window.minutes += 1; real.apply(this, box); }; }"
    )
    first, began = page.evaluate(f"[{seq}, performance.now()]")
    until(page, f"{seq} >= {first} + 45")
    minutes, ended = page.evaluate("[window.minutes, performance.now()]")
    assert 1 <= minutes <= (ended - began) / 250 + 1


def test_zoomed_to_twice_its_size_number_and_capture_are_in_sight(rig: Rig, screen: Screen) -> None:
    """WCAG 2.2, 1.4.4: a window of 1380 x 860 at 200 per cent has 690 x 430 CSS pixels."""
    page = begin_turning(rig, screen)
    page.set_viewport_size({"width": 690, "height": 430})
    until(page, "document.querySelector('#digits').textContent === '103.0'")
    capture, number = (
        page.locator("#capture").bounding_box(),
        page.locator("#digits").bounding_box(),
    )
    assert capture is not None
    assert number is not None
    assert number["y"] >= 0
    assert number["y"] + number["height"] < capture["y"]
    assert capture["y"] + capture["height"] <= 430
    assert page.evaluate("document.documentElement.scrollWidth") <= 690


def test_what_the_keyboard_is_on_is_seen(rig: Rig, screen: Screen) -> None:
    """WCAG 2.2, 2.4.7: the ring round the main button is not of the paper's colour."""
    page = begin_turning(rig, screen)
    for theme in ("light", "dark", "night"):
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        page.locator("#redo").focus()
        page.keyboard.press("Shift+Tab")
        ring, paper = page.evaluate(
            "() => { const one = document.activeElement;"
            "return [getComputedStyle(one).outlineColor,"
            " getComputedStyle(document.documentElement).backgroundColor]; }"
        )
        assert page.evaluate("document.activeElement.id") == "capture"
        assert ring != paper
