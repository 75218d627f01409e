"""A real browser, and screens in it."""

from __future__ import annotations

import json
import shutil
import warnings
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from tests.procedures.page.browser.other_browsers import missing

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CHROMIUM = shutil.which("chromium")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP localhost 127.0.0.2",  # where the relay listens (relay.py)
)
SIZES = {"phone": (360, 740), "tablet": (820, 1100), "desk": (1380, 860)}
WAIT_MS = 8000.0

Screen = Callable[..., "Page"]


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say it loudly when the page was not tried in a browser."""
    if CHROMIUM is None:
        terminalreporter.section("THE LIVE PAGE WAS NOT TRIED IN A BROWSER")
        terminalreporter.line("Install Debian's chromium, or the page may be broken unnoticed.")
    for name in ("firefox", "webkit"):
        if packages := missing(name):
            terminalreporter.section(f"THE LIVE PAGE WAS NOT TRIED IN {name.upper()}")
            terminalreporter.line(f"Install Debian's {packages}.")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Return Debian's Chromium."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed: THE LIVE PAGE IS NOT TESTED IN A BROWSER")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield started
        started.close()


@pytest.fixture
def screen(browser: Browser) -> Iterator[Screen]:
    """Return a maker of screens, each with storage of its own; a script error fails the test."""
    contexts: list[BrowserContext] = []
    errors: list[str] = []

    def open_screen(
        url: str, *, size: str = "phone", theme: str = "light", view: str = "live", **display: str
    ) -> Page:
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height}, ignore_https_errors=True
        )
        contexts.append(context)
        kept = json.dumps({"theme": theme, **display})
        context.add_init_script(f"localStorage.setItem('trimbench display', '{kept}')")
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(url if "#" in url else f"{url}#{view}")
        return page

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        yield open_screen
        for context in contexts:
            context.close()
    assert errors == []
