"""Tell at the terminal where the page is: an address, and a QR code where a phone should come."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from rich.console import Console
from rich.text import Text

from procedures.page.server import LivePage
from procedures.terminal.screen import say, speaks_unicode


def announce(console: Console, page: LivePage, *, acts: bool) -> None:
    """Print the page's address; for other machines also the code to pair a screen."""
    say(console, "")
    say(console, f"Live page  {page.url}", style="bold")
    if not acts:
        say(console, "It can look and cannot act.")
    if page.fingerprint:
        _invite(console, page, acts=acts)


def _invite(console: Console, page: LivePage, *, acts: bool) -> None:
    address = page.pairing_url if acts else page.url
    if acts:
        say(console, "Scan this with the phone or tablet that is to act; it works once.")
    if speaks_unicode(console):
        console.print(Text(qr_code(address)), highlight=False, soft_wrap=True)
    say(console, f"Or open    {address}")
    say(console, "The browser will say that it does not know the certificate. It is this one:")
    say(console, page.fingerprint)
    if acts:
        say(console, "Every other screen on the network can look and cannot act.")


def qr_code(text: str) -> str:
    """Return a QR code (ISO/IEC 18004) as lines of half blocks for a terminal.

    Light modules are drawn and dark ones left out, which is right on a dark terminal; scanners
    take the inverse that a light terminal shows, too.
    """
    import segno

    rows = [
        [bool(dark) for dark in row] for row in segno.make(text, error="l").matrix_iter(border=2)
    ]
    rows += [[True] * len(rows[0])] * (len(rows) % 2)
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return "\n".join(
        "".join(_HALVES[upper, lower] for upper, lower in zip(*pair, strict=True)) for pair in pairs
    )


_HALVES: Final = MappingProxyType(
    {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}
)
"""Upper and lower module dark -> character."""
