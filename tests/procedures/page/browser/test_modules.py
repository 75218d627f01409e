"""The page's pure functions, in the browser that runs them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.procedures.page.browser.conftest import Screen
    from tests.procedures.page.conftest import Rig


def test_pitch_rises_toward_the_target_and_is_another_in_the_band(rig: Rig, screen: Screen) -> None:
    page = screen(rig.page.url)
    places = [-1.0, -0.6, -0.3, 0.2, 0.4, 0.9]
    script = "places => import('/sound.js').then(m => places.map(p => m.pitchHz(p, false, true)))"
    pitches: list[float] = page.evaluate(script, places)
    by_distance = sorted(zip(places, pitches, strict=True), key=lambda pair: -abs(pair[0]))
    assert [hz for _, hz in by_distance] == sorted(pitches)
    inside: Any = page.evaluate(
        "import('/sound.js').then(m => [true, false].map(b => m.pitchHz(0, true, b)))"
    )
    assert inside[0] != inside[1]
    assert min(inside) > max(pitches)


AGES = {
    0.0: "now",
    1000.0: "now",
    1040.0: "1.0 s old",
    2340.0: "2.3 s old",
    59_000.0: "59 s old",
    150_000.0: "2 min old",
    8_000_000.0: "2 h old",
}


def test_an_age_is_told_in_words(rig: Rig, screen: Screen) -> None:
    page = screen(rig.page.url)
    script = "ages => import('/meter.js').then(m => [...ages, Infinity].map(m.spokenAge))"
    assert page.evaluate(script, list(AGES)) == [*AGES.values(), "unknown"]


def test_an_axis_has_a_few_round_values(rig: Rig, screen: Screen) -> None:
    page = screen(rig.page.url)
    ends = [[0.0, 1.0], [-90.3, 156.0], [154.2, 155.9], [1.4999, 1.5001], [-0.01, 0.0]]
    for low, high in ends:
        script = "([a, b]) => import('/strip.js').then(m => m.ticks(a, b))"
        found = page.evaluate(script, [low, high])
        assert 2 <= len(found) <= 7
        texts = [one["text"] for one in found]
        assert len(set(texts)) == len(texts)
        assert all(low - 1e-9 <= one["at"] <= high + 1e-3 * (high - low) for one in found)
