"""What brings a phone or tablet to the page: a code, an address, a certificate to expect."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final


def invitation(address: str, fingerprint: str, *, acts: bool, code: bool) -> str:
    """Return the lines that are shown at the terminal.

    Parameters
    ----------
    address
        Where the screen goes; with its token where it is to act.
    fingerprint
        SHA-256 of the certificate that it will see.
    acts
        Whether the screen that comes may act.
    code
        Whether a QR code can be drawn.
    """
    lines = [
        "Scan this with the phone or tablet that is to act; it works once." if acts else "",
        qr_code(address) if code else "",
        f"Or open    {address}",
        "The browser will say that it does not know the certificate. It is this one:",
        fingerprint,
        "Every other screen on the network can look and cannot act." if acts else "",
    ]
    return "\n".join(line for line in lines if line)


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
