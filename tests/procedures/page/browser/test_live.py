"""The page in a real browser while a simulated hand turns a control."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from daq.roles import Action
from procedures.judge import Limit
from tests.procedures.page.browser.relay import Relay

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from procedures.engine.bench import Bench
    from tests.procedures.page.browser.conftest import Screen
    from tests.procedures.page.conftest import Rig

LIMIT = Limit(0.154, 0.156, source="station file", status="station file")
HOSTILE = '<img src=x onerror="window.pwned=1"><script>window.pwned=1</script>\u202e&amp;\''
CAUTION = "The radiated guidance can be false."
BEST_CUT = {
    "path": "sbo",
    "length_m": 0.9349,
    "phase_left_deg": -3.35,
    "within_spare": True,
    "note": "",
}
OTHER_CUT = {**BEST_CUT, "path": "csb", "length_m": 1.2961, "phase_left_deg": 3.3}
PLAN = {"stage": "monitor", "phase_deg": -153.06, "cuts": [BEST_CUT, OTHER_CUT]}


def turn_width(bench: Bench) -> object:
    """Read, then adjust the width, then ask one question."""
    found = bench.measure("width/found", "clearance 90 IF", label="as found")
    done = bench.adjust(
        "width/adjust",
        "clearance 90",
        target=0.155,
        band=0.001,
        control="monitor width",
        instruction="Turn 'monitor width' until it shows the target.",
        before=found,
    )
    bench.judge("width/verdict", "course width, as left", done.after, LIMIT)
    return bench.confirm("done", "Is the cover closed?"), done.after.value


def tap(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()


def until(page: Page, script: str, *, within_ms: int = 8000) -> None:
    """Wait until `script` is true (the page's own policy forbids playwright's polling by eval)."""
    for _ in range(within_ms // 20):
        if page.evaluate(script):
            return
        page.wait_for_timeout(20)
    pytest.fail(f"never true: {script}")


def begin_turning(rig: Rig, screen: Screen, **how: str) -> Page:
    rig.meter.value = 0.103
    rig.type("y\ny\n")  # both are connected
    rig.start(turn_width)
    page = screen(rig.page.url, **how)
    page.wait_for_selector("#actions:not([hidden])")
    return page


def test_the_number_follows_the_hand_and_is_captured(rig: Rig, screen: Screen) -> None:
    page = begin_turning(rig, screen)
    until(page, "document.querySelector('#digits').textContent === '103.0'")
    assert page.inner_text("#instruction").startswith("Turn 'monitor width'")
    assert page.inner_text("#meaning") == "150 Hz predominates"
    assert page.get_attribute("#tone-150", "data-on") == "yes"
    assert "more 150 Hz" in page.inner_text("#distance")
    for step in range(20):
        rig.meter.value = 0.103 + 0.0008 * step
        page.wait_for_timeout(40)
    assert page.get_attribute("#advice", "data-code") in ("closer", "near")
    rig.meter.value = 0.158
    until(page, "document.querySelector('#advice').dataset.code === 'past'")
    assert "back a little" in page.inner_text("#advice")
    rig.meter.value = 0.155
    until(page, "document.querySelector('#pointer').dataset.inside === 'yes'")
    assert "hold" in page.inner_text("#advice")
    tap(page, "Capture")
    page.get_by_role("heading", name="Is the cover closed?").wait_for()
    page.goto(rig.page.url + "#run")
    until(page, "document.querySelector('#steps').innerText.includes('in tolerance')")
    page.goto(rig.page.url + "#live")
    tap(page, "Yes, done")
    answer = rig.finish()
    assert isinstance(answer, tuple)
    assert answer[0] is True
    assert answer[1] == pytest.approx(0.155, abs=1e-4)
    assert "Captured." in rig.said


def test_a_number_that_nobody_renews_fades_and_says_how_old_it_is(rig: Rig, screen: Screen) -> None:
    page = begin_turning(rig, screen)
    until(page, "document.querySelector('#meter').dataset.stale === 'no'")
    bright = page.evaluate("getComputedStyle(document.querySelector('#digits')).color")
    rig.meter.paused.set()
    until(page, "document.querySelector('#meter').dataset.stale === 'yes'")
    assert 1.0 <= float(page.inner_text("#age").split()[0]) < 1.6
    assert page.evaluate("getComputedStyle(document.querySelector('#digits')).color") != bright
    rig.meter.paused.clear()
    until(page, "document.querySelector('#meter').dataset.stale === 'no'")


def test_a_screen_that_lost_the_server_says_so_and_goes_on_from_the_last_row(
    rig: Rig, screen: Screen
) -> None:
    with Relay(rig.page.url) as line:
        rig.type("y\ny\n")
        rig.start(turn_width)
        page = screen(line.url)
        seq = "Number(document.querySelector('#meter').dataset.seq)"
        until(page, f"{seq} > 20")
        line.cut()
        until(page, "document.querySelector('#link').dataset.state === 'lost'")
        until(page, "document.querySelector('#meter').dataset.stale === 'yes'")
        assert "no connection" in page.inner_text("#link")
        before = page.evaluate(seq)
        line.asked.clear()
        line.mend()
        until(page, "document.querySelector('#link').dataset.state === 'live'")
        until(page, "document.querySelector('#meter').dataset.stale === 'no'")
        assert page.evaluate(seq) > before
        resumed = re.search(rb"last-event-id: (\d+)", b"".join(line.asked), re.IGNORECASE)
        assert resumed is not None
        assert int(resumed[1]) >= before - 1


def test_two_screens_agree_and_one_acts(rig: Rig, screen: Screen) -> None:
    first = begin_turning(rig, screen)
    second = screen(rig.page.url, size="tablet", theme="night")
    second.wait_for_selector("#actions:not([hidden])")
    rig.meter.value = 0.155
    for page in (first, second):
        until(page, "document.querySelector('#digits').textContent === '155.0'")
    both = "document.querySelector('#capture').click()"
    first.evaluate(both)
    second.evaluate(both)
    for page in (first, second):
        page.get_by_role("heading", name="Is the cover closed?").wait_for()
    seen = [not page.is_hidden("#notice") for page in (first, second)]
    assert seen.count(True) <= 1
    tap(second, "No")
    first.wait_for_selector("#ask", state="hidden")
    answer = rig.finish()
    assert isinstance(answer, tuple)
    assert answer[0] is False
    adjusted = [e for e in _rows(rig) if e == "width/adjust"]
    assert len(adjusted) == 1, "captured twice"


def test_the_keyboard_answers_what_the_page_shows(rig: Rig, screen: Screen) -> None:
    rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    page = screen(rig.page.url)
    page.get_by_role("heading", name="Is it so?").wait_for()
    rig.type("y\n")
    page.wait_for_selector("#ask", state="hidden")
    assert rig.finish() is True


def test_everything_can_be_done_with_the_keyboard_of_the_screen(rig: Rig, screen: Screen) -> None:
    rig.start(lambda bench: bench.acknowledge("a", "Nobody is at the antenna.", caution=CAUTION))
    page = screen(rig.page.url, size="desk")
    page.get_by_role("heading", name="Nobody is at the antenna.").wait_for()
    page.wait_for_timeout(600)
    assert page.get_by_role("button", name="Acknowledge").is_disabled(), "the caution is unread"
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert rig.finish() is None


def test_single_keys_capture_and_can_be_switched_off(rig: Rig, screen: Screen) -> None:
    page = begin_turning(rig, screen, keys="off")
    page.keyboard.press("c")
    page.wait_for_timeout(300)
    assert page.is_visible("#capture")
    other = screen(rig.page.url)
    other.wait_for_selector("#actions:not([hidden])")
    other.keyboard.press("c")
    page.get_by_role("heading", name="Is the cover closed?").wait_for()


def test_a_length_is_typed_in_the_unit_at_hand_beside_the_drawing(rig: Rig, screen: Screen) -> None:
    def script(bench: Bench) -> float:
        bench.note("plan", "Trim plan", PLAN)
        return bench.number(
            "cut", "Shorten the SBO path.", unit="m", suggestion=0.9349, action=Action("cut")
        )

    rig.start(script)
    page = screen(rig.page.url)
    page.get_by_role("img", name="take 0.935 m").wait_for()
    page.wait_for_timeout(600)
    page.fill("#typed", "36.8 volts")
    tap(page, "Enter")
    page.wait_for_selector("#notice:not([hidden])")
    page.fill("#typed", "36.8 in")
    tap(page, "Enter")
    assert rig.finish() == pytest.approx(36.8 * 0.0254)


def test_stopping_asks_once_more(rig: Rig, screen: Screen) -> None:
    page = begin_turning(rig, screen)
    page.click("#stop")
    tap(page, "Go on")
    page.click("#stop")
    page.get_by_role("dialog").get_by_role("button", name="Stop the run").click()
    assert "Stopped" in str(rig.finish())


def test_hostile_text_stays_text(rig: Rig, screen: Screen) -> None:
    def script(bench: Bench) -> bool:
        bench.tell(HOSTILE)
        bench.note("n", HOSTILE, {"remark": HOSTILE})
        bench.note(
            "p",
            "Trim plan",
            {**PLAN, "stage": HOSTILE, "cuts": [{**BEST_CUT, "note": HOSTILE}]},
        )
        bench.journal.event(
            "e", {"event": HOSTILE, "error": {"message": HOSTILE, "instrument": "receiver"}}
        )
        return bench.confirm("a", f"Is this text? {HOSTILE}")

    rig.start(script)
    page = screen(rig.page.url, size="desk")
    page.get_by_role("heading", name="Is this text?").wait_for()
    until(page, "document.querySelectorAll('#steps li').length >= 3")
    page.wait_for_timeout(300)
    assert page.evaluate("window.pwned") is None
    assert page.locator("main img[src], main script").count() == 0
    assert "<script>" in page.inner_text("#steps")
    assert "<script>" in page.inner_text("#says")
    page.wait_for_timeout(300)
    tap(page, "Yes, done")
    assert rig.finish() is True


def test_a_phone_shows_number_pointer_and_buttons_without_scrolling(
    rig: Rig, screen: Screen
) -> None:
    page = begin_turning(rig, screen)
    until(page, "document.querySelector('#digits').textContent === '103.0'")
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    for what in ("#digits", "#meaning", "#age", "#pointer", "#advice", "#capture", "#stop"):
        box = page.locator(what).bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 360
        assert box["y"] + box["height"] <= 740
    capture = page.locator("#capture").bounding_box()
    assert capture is not None
    assert capture["height"] >= 44, "WCAG 2.2, 2.5.5: a target for a thumb"
    assert capture["y"] > 370, "within a thumb's reach, in the lower half"


def test_it_is_heard_at_a_bearable_rate(rig: Rig, screen: Screen) -> None:
    page = begin_turning(rig, screen)
    page.evaluate(
        "window.heard = []; new MutationObserver(() => window.heard.push("
        "document.querySelector('#spoken').textContent)).observe("
        "document.querySelector('#spoken'), {childList: true, characterData: true, subtree: true})"
    )
    for step in range(30):
        rig.meter.value = 0.110 + 0.001 * step
        page.wait_for_timeout(50)
    heard = page.evaluate("window.heard")
    assert len(heard) <= 2
    assert page.get_attribute("#spoken", "aria-live") == "polite"


def test_a_hazard_stays_in_sight_while_the_hand_turns(rig: Rig, screen: Screen) -> None:
    def script(bench: Bench) -> object:
        with bench.false_guidance("line", "the quarter-wave line is in"):
            return turn_width(bench)

    rig.type("y\ny\n")
    rig.start(script)
    page = screen(rig.page.url)
    page.wait_for_selector("#reminder:not([hidden])")
    assert "quarter-wave line is in" in page.inner_text("#reminder")
    assert "Reminder" not in page.inner_text("#instruction")


def test_a_simulated_technician_is_looked_at_only(rig: Rig, screen: Screen) -> None:
    page = screen(rig.page.url)
    rig.page.hub.publish(
        "prompt",
        {"id": "q1", "acts": False, "kind": "confirm", "text": "Connect it.", "caution": ""},
    )
    page.get_by_text("The simulated technician answers this.").wait_for()
    assert page.locator("#ask button").count() == 0


def test_only_the_paired_screen_on_the_network_has_buttons(lan_rig: Rig, screen: Screen) -> None:
    lan_rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    paired = screen(lan_rig.page.pairing_url)
    paired.get_by_role("button", name="Yes, done").wait_for()
    assert "pair" not in paired.url, "the token stayed in the address"
    other = screen(lan_rig.page.url)
    other.get_by_text("The paired screen or the terminal answers this.").wait_for()
    assert other.locator("#ask button").count() == 0
    assert "looking on" in other.inner_text("#which")
    paired.wait_for_timeout(600)
    tap(paired, "Yes, done")
    assert lan_rig.finish() is True


def _rows(rig: Rig) -> list[str]:
    from daq.log.entry import Kind
    from daq.log.reader import LogReader

    with LogReader(rig.station.log_path) as reader:
        return [entry.key for entry in reader.entries(kind=Kind.OUTCOME)]
