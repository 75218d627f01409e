"""The page in Firefox and in WebKit (the engine of every browser on an iPhone or iPad)."""

from __future__ import annotations

import gc
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import pytest

from daq.clock import SystemClock
from tests.procedures.page.browser.other_browsers import (
    Firefox,
    OtherBrowser,
    WebKit,
    missing,
)
from tests.procedures.page.browser.relay import Relay
from tests.procedures.page.browser.test_live import CAUTION, HOSTILE, turn_width

if TYPE_CHECKING:
    from procedures.engine.bench import Bench
    from tests.procedures.page.conftest import Rig

pytestmark = [pytest.mark.browsers, pytest.mark.timeout(180)]

WATCH_ERRORS = """
window.failed = [];
addEventListener("error", (event) => window.failed.push(event.message));
addEventListener("unhandledrejection", (event) => window.failed.push(String(event.reason)));
"""


@pytest.fixture(scope="module", params=["firefox", "webkit"])
def other(request: pytest.FixtureRequest) -> Iterator[OtherBrowser]:
    name = str(request.param)
    if packages := missing(name):
        pytest.skip(f"THE LIVE PAGE IS NOT TESTED IN {name.upper()}: install Debian's {packages}")
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        kind: Any = {"firefox": Firefox, "webkit": WebKit}[name]
        with kind(Path(folder)) as browser:
            yield browser


@pytest.fixture(autouse=True)
def cut_connections() -> Iterator[None]:
    """Forget connections that a browser left half closed as the server's loop ended."""
    yield
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


def until(browser: OtherBrowser, script: str, *, within_s: float = 15.0) -> None:
    """Wait until an expression is true in the page."""
    clock = SystemClock()
    for _ in range(int(within_s / 0.05)):
        if browser.run(f"return Boolean({script})"):
            return
        clock.sleep(0.05)
    pytest.fail(f"never true: {script}")


def text(browser: OtherBrowser, selector: str) -> str:
    return str(browser.run(f"return document.querySelector('{selector}').textContent"))


@contextmanager
def opened(browser: OtherBrowser, url: str) -> Iterator[None]:
    """Have the page open, and no error in its scripts."""
    browser.go(url)
    browser.run(WATCH_ERRORS)
    until(browser, "document.querySelector('#link').dataset.state === 'live'")
    yield
    assert browser.run("return window.failed") == []
    browser.go("about:blank")


def begin_turning(rig: Rig, script: Callable[[Bench], object] = turn_width) -> None:
    rig.meter.value = 0.103
    rig.type("y\ny\n")
    rig.start(script)


def test_the_number_follows_the_hand_and_is_captured(rig: Rig, other: OtherBrowser) -> None:
    begin_turning(rig)
    with opened(other, rig.page.url):
        until(other, "document.querySelector('#digits').textContent === '103.0'")
        assert text(other, "#meaning") == "150 Hz predominates"
        rig.meter.value = 0.155
        until(other, "document.querySelector('#pointer').dataset.inside === 'yes'")
        other.click("#capture")
        until(other, "document.querySelector('#ask-text')?.textContent === 'Is the cover closed?'")
        until(other, "!document.querySelector('#ask .main').disabled")
        other.click("#ask .main")
        answer = rig.finish()
        assert isinstance(answer, tuple)
        assert answer[0] is True
        until(other, "document.querySelector('#link').dataset.state === 'live'")


def test_a_lost_connection_is_told_and_taken_up_again(rig: Rig, other: OtherBrowser) -> None:
    begin_turning(rig)
    with Relay(rig.page.url, renames=True) as line, opened(other, line.url):
        seq = "Number(document.querySelector('#meter').dataset.seq)"
        until(other, f"{seq} > 20")
        line.cut()
        until(other, "document.querySelector('#link').dataset.state === 'lost'")
        until(other, "document.querySelector('#meter').dataset.stale === 'yes'")
        before = other.run(f"return {seq}")
        line.mend()
        until(other, "document.querySelector('#link').dataset.state === 'live'")
        until(other, "document.querySelector('#meter').dataset.stale === 'no'")
        assert other.run(f"return {seq}") > before


def test_a_caution_is_read_before_it_is_acknowledged(rig: Rig, other: OtherBrowser) -> None:
    rig.start(lambda bench: bench.acknowledge("a", HOSTILE, caution=CAUTION))
    with opened(other, rig.page.url):
        until(other, "document.querySelector('#ask .read input')")
        until(other, "!document.querySelector('#ask .stop').disabled")
        assert other.run("return document.querySelector('#ask .main').disabled")
        other.click("#ask .read input")
        until(other, "!document.querySelector('#ask .main').disabled")
        other.click("#ask .main")
        rig.finish()
        assert other.run("return window.pwned === undefined")


def test_a_number_is_typed_and_the_run_is_stopped_after_one_more_question(
    rig: Rig, other: OtherBrowser
) -> None:
    rig.start(lambda bench: (bench.number("n", "How long?", unit="m"), bench.confirm("b", "So?")))
    with opened(other, rig.page.url):
        until(other, "document.querySelector('#typed')")
        until(other, "!document.querySelector('#ask .main').disabled")
        other.write("#typed", "9.8 in\ue007")  # WebDriver, 17.4.2: the code of the Enter key
        until(other, "document.querySelector('#ask-text')?.textContent === 'So?'")
        until(other, "!document.querySelector('#ask .stop').disabled")
        other.click("#ask .stop")
        until(other, "document.querySelector('#sure').open")
        other.click("#sure .stop")
        assert "Stopped" in str(rig.finish())


def test_night_and_sound_are_chosen_in_the_dialog(rig: Rig, other: OtherBrowser) -> None:
    begin_turning(rig)
    with opened(other, rig.page.url):
        other.run(
            "const Real = window.AudioContext; window.made = [];"
            "window.AudioContext = class extends Real {"
            " constructor() { super(); window.made.push(this); } };"
        )
        other.click("#open-settings")
        until(other, "document.querySelector('#settings').open")
        other.click("#settings input[name=theme][value=night]")
        other.click("#settings input[name=sound][value=on]")
        other.click("#settings button.main")
        until(other, "!document.querySelector('#settings').open")
        paper = other.run("return getComputedStyle(document.documentElement).backgroundColor")
        assert paper == "rgb(0, 0, 0)"
        # Without a sound card Firefox never runs it, but says that it would be allowed to.
        allowed = "navigator.getAutoplayPolicy?.('audiocontext') === 'allowed'"
        until(other, f"window.made.length === 1 && (made[0].state === 'running' || {allowed})")
        other.run("localStorage.clear()")


def test_a_screen_is_paired_over_tls_let_go_and_another_paired(
    lan_rig: Rig, other: OtherBrowser
) -> None:
    lan_rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    with opened(other, lan_rig.page.pairing_url):
        until(other, "document.querySelector('#ask .main')")
        old = lan_rig.page.pairing_url
        lan_rig.type("p\n")
        until(other, "!document.querySelector('#ask .main')")
        assert "let this screen go" in text(other, "#notice")
        until(other, "document.querySelector('#which').textContent.includes('looking on')")
        assert lan_rig.page.pairing_url != old
        other.go("about:blank")
        other.go(lan_rig.page.pairing_url)
        other.run(WATCH_ERRORS)
        until(other, "document.querySelector('#ask .main:not(:disabled)')")
        other.click("#ask .main")
        assert lan_rig.finish() is True
