"""axe-core on every view, at each size and in each light; contrast and targets included."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Any

import pytest

from tests.procedures.page.browser.test_live import CAUTION, PLAN, begin_turning, until

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from procedures.engine.bench import Bench
    from tests.procedures.page.browser.conftest import Screen
    from tests.procedures.page.conftest import Rig

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def faults(page: Page) -> list[str]:
    """Return what axe-core finds in the light theme, and of contrast in the other two.

    Its script comes with a package; nothing is fetched.
    """
    page.evaluate(
        resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    )
    found: list[str] = []
    for theme, rules in (
        ("light", RULES),
        ("dark", ["color-contrast"]),
        ("night", ["color-contrast"]),
    ):
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        kind = "tag" if rules is RULES else "rule"
        options = {"runOnly": {"type": kind, "values": rules}}
        answer: dict[str, Any] = page.evaluate("options => axe.run(document, options)", options)
        found += [
            f"{theme} {v['id']}: {node['target']} {node['failureSummary']}"
            for v in answer["violations"]
            for node in v["nodes"]
        ]
    return found


def test_a_watched_value_fresh_and_stale(rig: Rig, screen: Screen) -> None:
    page = begin_turning(rig, screen)
    until(page, "document.querySelector('#digits').textContent === '103.0'")
    assert faults(page) == []
    rig.meter.paused.set()
    until(page, "document.querySelector('#meter').dataset.stale === 'yes'")
    assert faults(page) == []


def test_questions_with_cautions_and_drawings(rig: Rig, screen: Screen) -> None:
    def script(bench: Bench) -> float:
        bench.note("plan", "Trim plan", PLAN)
        bench.acknowledge("a", "Nobody is at the antenna.", caution=CAUTION)
        return bench.number("cut", "Shorten the SBO path.", unit="m", suggestion=0.9349)

    rig.start(script)
    page = screen(rig.page.url)
    page.get_by_role("heading", name="Nobody is at the antenna.").wait_for()
    assert faults(page) == []
    rig.type("yes\n")
    page.wait_for_selector("#typed")
    page.click("#open-settings")
    assert faults(page) == []


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_run_and_the_records(rig: Rig, screen: Screen, size: str) -> None:
    page = begin_turning(rig, screen, size=size)
    rig.meter.value = 0.155
    until(page, "document.querySelector('#pointer').dataset.inside === 'yes'")
    page.click("#capture")
    page.get_by_role("heading", name="Is the cover closed?").wait_for()
    rig.type("y\n")
    rig.finish()
    page.evaluate("location.hash = '#run'")
    page.get_by_role("heading", name="Run finished").wait_for()
    assert faults(page) == []
    page.evaluate("location.hash = '#records'")
    page.get_by_role("link", name="Record of run 1 (PDF)").wait_for()
    assert faults(page) == []
