"""Small profiles for tests, from the few lines that matter."""

from __future__ import annotations

from pathlib import Path

from drivers.profile import Profile, load_profile

HEAD = """\
[instrument]
class = "{kind}"
[link]
write_terminator = "\\n"
read_terminator = "\\n"
timeout_s = 0.5
quiet_s = 0.01
[identification]
query = "*IDN?"
answer = '(?P<model>TINY).*'
"""


def tiny_profile(folder: Path, rest: str, *, kind: str = "navigation receiver") -> Profile:
    """Write and load a profile whose identification is TINY and whose lines end with LF."""
    path = folder / "tiny.toml"
    path.write_text(HEAD.format(kind=kind) + rest, encoding="utf-8")
    return load_profile(path)
