"""Write a profile as TOML, as a person would lay it out."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Final

_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def profile_text(sections: Mapping[str, object]) -> str:
    """Return TOML for tables of scalars, of inline tables and lists, and of tables one level down.

    Parameters
    ----------
    sections
        Name of a table -> its content; ``quantity`` holds tables of its own.
    """
    lines: list[str] = []
    for name, section in sections.items():
        for title, table in _tables(name, section):
            lines += [f"[{title}]", *(f"{key} = {_value(item)}" for key, item in table.items()), ""]
    return "\n".join(lines)


def _tables(name: str, section: object) -> list[tuple[str, Mapping[str, object]]]:
    if not isinstance(section, Mapping):
        raise TypeError(f"{name} is no table")
    if name == "quantity":
        return [(f"quantity.{key}", table) for key, table in section.items()]
    return [(name, section)]


def _value(item: object) -> str:
    if isinstance(item, bool):
        return "true" if item else "false"
    if isinstance(item, int | float):
        return repr(item)
    if isinstance(item, Mapping):
        return "{" + ", ".join(f"{_key(str(k))} = {_value(v)}" for k, v in item.items()) + "}"
    if isinstance(item, list | tuple):
        return "[" + ", ".join(map(_value, item)) + "]"
    return _text(str(item))


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _text(text: str) -> str:
    """Return a basic string; JSON's escapes are TOML's too, but for DEL, which it leaves bare.

    A pattern reads better in a literal string, where a backslash is a backslash.
    """
    if "\\" in text and "'" not in text and text.isprintable():
        return f"'{text}'"
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
