"""One row of the log, and the chain of digests that ties the rows together.

Row n's digest is SHA-256 over row n-1's digest and the canonical JSON of row n, so an edited,
removed or reordered row breaks every digest after it. Rows cut off the *end* leave a chain that
holds: a record therefore prints the last digest of its run, and `daq.log.reader.LogReader.verify`
takes a digest to look for.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

Body = Mapping[str, object]

FORMAT_VERSION: Final = 1
ANCHOR: Final = hashlib.sha256(b"trimbench log, format 1").digest()
"""What the first row chains to."""


class Kind(StrEnum):
    """What a row tells."""

    RUN_STARTED = "run started"
    READING = "reading"
    OUTCOME = "outcome"
    EVENT = "event"
    RUN_ENDED = "run ended"


@dataclass(frozen=True, slots=True)
class Entry:
    """One row.

    Attributes
    ----------
    seq
        Row number, from 1, without gaps.
    run
        Number of the run that wrote it, from 1.
    kind, key
        What it tells, and the step of the procedure that it belongs to.
    utc_ns, mono_ns
        When it was made: calendar and monotonic time, ns.
    body
        JSON object.
    digest
        32 bytes; see the module's docstring.
    """

    seq: int
    run: int
    kind: Kind
    key: str
    utc_ns: int
    mono_ns: int
    body: Body
    digest: bytes


def canonical(value: object) -> str:
    """Return `value` as JSON with sorted keys and no spare blanks.

    Raises
    ------
    ValueError
        A number is NaN or infinite: JSON has no such thing, the caller stores None.
    """
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def chain(previous: bytes, fields: tuple[int, int, str, str, int, int], body_json: str) -> bytes:
    """Return the digest of a row whose predecessor has digest `previous`.

    Parameters
    ----------
    previous
        32 bytes; `ANCHOR` for the first row.
    fields
        seq, run, kind, key, utc_ns, mono_ns.
    body_json
        The body as it is stored.
    """
    digest = hashlib.sha256(previous)
    digest.update(canonical(fields).encode())
    digest.update(b"\n")
    digest.update(body_json.encode())
    return digest.digest()
