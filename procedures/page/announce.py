"""Tell at the terminal where the page is: an address, and a QR code where a phone should come."""

from __future__ import annotations

from rich.console import Console

from procedures.page.doorway import KEY
from procedures.page.server import LivePage
from procedures.terminal.screen import say


def announce(console: Console, page: LivePage, *, acts: bool) -> None:
    """Print the page's address; for other machines also the code to pair a screen."""
    say(console, "")
    say(console, f"Live page  {page.url}", style="bold")
    if not acts:
        say(console, "It can look and cannot act.")
    if not page.fingerprint:
        return
    say(console, page.invitation(acts=acts))
    if acts:
        say(console, f"A screen that is lost: {KEY} at this terminal pairs another one instead.")
