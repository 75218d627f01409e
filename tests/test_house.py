"""Rules that the whole house keeps and no linter knows."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("daq", "drivers", "procedures", "sim_instruments")
MOST_LINES = 400
SOURCES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))

HEAVY = ("numpy", "pandas", "scipy", "matplotlib", "skrf", "pint", "pyarrow", "pyvisa", "typst",
         "starlette", "uvicorn")  # fmt: skip

# Pieces are put together here so that this file does not hold the words that it forbids.
MACHINE_PATHS = re.compile(
    "|".join(["/" + "work/", "/" + "root/", "/" + "home/[a-z]", "/" + "Users/", r"[A-Z]:\\Users"])
)
TEXT_ENDINGS = {".py", ".toml", ".md", ".typ", ".cfg", ".ini", ".txt", ".yml", ".css", ".js",
                ".html", ".lock", ""}  # fmt: skip

Documented = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def public(node: ast.Module | ast.ClassDef, prefix: str = "") -> Iterator[tuple[str, Documented]]:
    """Yield every public function, class and method; what a function keeps inside is its own."""
    for item in node.body:
        if isinstance(item, Documented) and not item.name.startswith("_"):
            yield prefix + item.name, item
            if isinstance(item, ast.ClassDef):
                yield from public(item, f"{prefix}{item.name}.")


def test_there_is_something_to_look_at() -> None:
    """Or every rule below would hold of nothing."""
    assert len(SOURCES) > 80


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_everything_public_says_what_it_is(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree) or not tree.body, "the module has no docstring"
    silent = [name for name, item in public(tree) if not ast.get_docstring(item)]
    assert silent == []


def test_no_file_is_longer_than_a_person_can_hold() -> None:
    longer = {
        name_of(path): lines
        for path in SOURCES
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MOST_LINES
    }
    assert longer == {}


def tracked() -> list[Path]:
    """Every text file under version control; without it, every one in the rooms."""
    done = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if done.returncode:
        return SOURCES
    paths = [ROOT / name for name in done.stdout.split("\0") if name]
    return [path for path in paths if path.suffix in TEXT_ENDINGS and path.is_file()]


def test_no_file_knows_the_machine_it_was_written_on() -> None:
    found = {
        name_of(path): match[0]
        for path in tracked()
        if (match := MACHINE_PATHS.search(path.read_text(encoding="utf-8", errors="replace")))
    }
    assert found == {}


@pytest.mark.parametrize("argv", [["--help"], ["run", "--help"], ["trim", "--help"]])
def test_the_help_answers_before_anything_heavy_is_loaded(argv: list[str]) -> None:
    program = (
        "import sys\n"
        "from procedures.cli import app\n"
        "from procedures.commands.errors import run_app\n"
        f"code = run_app(app, {argv!r})\n"
        f"loaded = [name for name in {HEAVY!r} if name in sys.modules]\n"
        "print('LOADED', code, *loaded)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert "Usage:" in done.stdout
    assert done.stdout.splitlines()[-1] == "LOADED 0"
