"""The limits of a category, each with where it comes from."""

from __future__ import annotations

import pytest

from tests.support.commands import CommandLine


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


@pytest.mark.parametrize("category", ["I", "II", "III"])
def test_every_limit_has_a_source_and_says_how_it_is_known(
    category: str, trimbench: CommandLine
) -> None:
    rows = trimbench("limits", "--category", category, "--json").json["limits"]
    assert len(rows) > 10
    for row in rows:
        assert row["source"]
        assert row["status"]
        assert category in row["categories"] if "categories" in row else True


def test_alignment_gets_stricter_with_the_category(trimbench: CommandLine) -> None:
    """10.5, 7.5 and 3 m at the reference datum (ICAO Annex 10 Vol I, 3.1.3.6.1, second hand)."""
    metres = []
    for category in ("I", "II", "III"):
        rows = trimbench("limits", "--category", category, "--json").json["limits"]
        found = [
            row["high"]
            for row in rows
            if row["unit"] == "m" and "3.1.3.6.1" in row["section"] and not row["recommended"]
        ]
        metres.append(max(found))
    assert metres == [10.5, 7.5, 3.0]


def test_for_people_each_limit_is_name_interval_and_source(trimbench: CommandLine) -> None:
    said = trimbench("limits", "--category", "II")
    assert said.code == 0
    lines = said.out.splitlines()
    assert any("Annex 10" in line for line in lines)
    assert any(line.startswith("    ") and " to " in line for line in lines)
    assert "None" not in said.out


def test_one_kind_of_limit_is_a_part_of_all(trimbench: CommandLine) -> None:
    everything = trimbench("limits", "--category", "II", "--json").json["limits"]
    kinds = {kind for row in everything for kind in row["kinds"]}
    for kind in kinds:
        some = trimbench("limits", "--category", "II", "--kind", kind, "--json").json["limits"]
        assert some == [row for row in everything if kind in row["kinds"]]


def test_the_glide_path_has_a_table_too(trimbench: CommandLine) -> None:
    said = trimbench("limits", "--category", "I", "--facility", "glide-path", "--json")
    assert said.json["limits"]


@pytest.mark.parametrize("argv", [("--category", "IV"), ("--category", "I", "--kind", "x")])
def test_what_there_is_not_is_said(argv: tuple[str, ...], trimbench: CommandLine) -> None:
    said = trimbench("limits", *argv)
    assert said.code == 2
    said.is_a_short_message()


def test_a_category_has_to_be_named(trimbench: CommandLine) -> None:
    said = trimbench("limits", "--json")
    assert said.code == 2
    assert "--category" in said.error["message"]


def test_each_source_is_said_once_and_no_row_is_called_by_its_key(trimbench: CommandLine) -> None:
    for category in ("I", "II", "III"):
        out = trimbench("limits", "--category", category).out
        assert "common practice, no source" in out
        assert "common practice, :" not in out
        assert "common practice: common practice" not in out
        assert "_ddm" not in out
        assert "_m\n" not in out


def test_without_a_category_the_choices_are_told_on_one_line(trimbench: CommandLine) -> None:
    said = trimbench("limits")
    assert said.code == 2
    assert len(said.err.splitlines()) == 1
    assert "\t" not in said.err
    assert "'--category'" in said.err
    assert "I, II, III." in said.err
