"""A bad file is told with file, line, key and what was expected; all faults at once."""

from __future__ import annotations

import contextlib
from datetime import date
from enum import StrEnum
from typing import Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field, model_validator

from daq.errors import ProfileError, StationFileError
from daq.toml_faults import FaultsAt, not_defined
from daq.toml_file import did_you_mean, load_toml
from daq.toml_lines import key_lines, nearest_line


class Colour(StrEnum):
    RED = "red"
    GREEN = "green"


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Part(Strict):
    name: str
    length_m: float = Field(default=1.0, gt=0)
    colour: Colour = Colour.RED
    kind: Literal["open", "short"] = "open"


class Whole(Strict):
    title: str
    count: int = 1
    parts: tuple[Part, ...] = ()
    named: dict[str, Part] = {}
    nested: Part | None = None


class Said(Strict):
    day: date | None = None
    code: str = Field(default="AA", pattern="^[A-Z]{2}$", description="two capital letters")
    other: str = Field(default="AA", pattern="^[A-Z]{2}$")
    on: bool = True
    level_db: float = Field(default=0.0, lt=3)
    share: float = Field(default=0.5, le=1)
    names: tuple[str, ...] = Field(default=("a",), min_length=1)
    empty: str = Field(default="a", min_length=1)
    part: Part | None = None


def load(folder, text, error=StationFileError):
    path = folder / "bench.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return load_toml(path, Whole, error)


def test_a_good_file_becomes_the_model(tmp_path):
    found = load(tmp_path, 'title = "x"\n[[parts]]\nname = "a"\nlength_m = 2\n')
    assert found == Whole(title="x", parts=(Part(name="a", length_m=2.0),))


def test_a_file_with_a_byte_order_mark_and_crlf_is_read(tmp_path):
    assert load(tmp_path, b'\xef\xbb\xbftitle = "x"\r\ncount = 2\r\n').count == 2


@pytest.mark.parametrize(
    ("text", "line", "key", "match"),
    [
        ("count = 1\n", None, "title", "missing"),
        ('title = "x"\ncount = "many"\n', 2, "count", "Expected a whole number, not 'many'"),
        ('title = "x"\n\ncuont = 1\n', 3, "cuont", "not known; did you mean 'count'"),
        ('title = "x"\n[[parts]]\nname="a"\n[[parts]]\nlength_m=1\n', 4, "parts.2.name", "missing"),
        ('title="x"\n[[parts]]\nname="a"\nlength=1\n', 4, "parts.1.length", "mean 'length_m'"),
        (
            'title="x"\n[named.b]\nname="a"\nlength_m = -1\n',
            4,
            "named.b.length_m",
            "Expected more than 0 m, not -1",
        ),
        ('title="x"\n[nested]\nname="a"\ncolour = "gren"\n', 4, "nested.colour", "mean 'green'"),
        ('title="x"\n[nested]\nname="a"\nkind = "shrt"\n', 4, "nested.kind", "mean 'short'"),
        ('title="x"\nnamed.b.name="a"\nnamed.b.kind=1\n', 3, "named.b.kind", "'open' or 'short'"),
        ('title="x"\nparts=[\n {name="a", length_m="y"}]\n', 2, "parts.1.length_m", "number"),
        ('title = """\n[nested]\n"""\ncuont = 1\n', 4, "cuont", "mean 'count'"),
        ('title="x"\nwords = """\n[nested]\ncuont = 1\n"""\n', 2, "words", "not known"),
    ],
)
def test_a_fault_is_told_with_its_line_and_key(tmp_path, text, line, key, match):
    with pytest.raises(StationFileError, match=match) as caught:
        load(tmp_path, text)
    assert (caught.value.line, caught.value.key) == (line, key)
    assert str(caught.value).startswith(str(tmp_path / "bench.toml"))


def test_all_faults_are_listed_in_the_order_of_the_file(tmp_path):
    with pytest.raises(ProfileError) as caught:
        load(tmp_path, 'title = 5\ncount = "x"\nlast = 1\n', ProfileError)
    told = str(caught.value).splitlines()
    assert len(told) == 3
    assert [f":{number}: " in one for number, one in enumerate(told, 1)] == [True] * 3


def test_a_fault_without_a_line_is_told_without_one(tmp_path):
    with pytest.raises(StationFileError) as caught:
        load(tmp_path, "[nested]\n[parts]\n")
    lines = str(caught.value).splitlines()
    assert not any("None" in line for line in lines)
    assert f"{tmp_path / 'bench.toml'}: title: This key is missing." in lines[0]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("day = 'last June'", "Expected a day, written like 2027-01-31 without quotes"),
        ("day = '2026-13-45'", "Expected a day, .* not '2026-13-45'"),
        ("code = 'x'", "Expected two capital letters, not 'x'"),
        ("other = 'x'", "Expected a text of another form, not 'x'"),
        ("code = 5", "Expected a text in quotes, not 5"),
        ("on = 'perhaps'", "Expected true or false, not 'perhaps'"),
        ("level_db = 9.5", "Expected less than 3 dB, not 9.5"),
        ("share = 2", "Expected at most 1, not 2"),
        ("share = 'half'", "Expected a number, not 'half'"),
        ("names = []", r"Expected at least one entry, not \[\]"),
        ("names = 'one'", "Expected a list in square brackets, not 'one'"),
        ("empty = ''", "Expected some text, not ''"),
        ("[[part]]\nname = 'a'", "Expected one table, not several tables"),
        ("part = 3", "Expected one table, not 3"),
    ],
)
def test_no_word_is_the_librarys(tmp_path, line, said):
    """What was expected is told as a technician would write it, and in his unit."""
    path = tmp_path / "said.toml"
    path.write_text(f"# a remark\n{line}\n", encoding="utf-8")
    with pytest.raises(StationFileError, match=said) as caught:
        load_toml(path, Said, StationFileError)
    assert caught.value.line == 2
    for word in ("valid", "Input", "input", "should", "pattern", "^", "parse", "instance"):
        assert word not in str(caught.value).replace(str(path), "")


def test_a_fault_between_keys_is_told_at_each_of_them(tmp_path):
    class Pair(Strict):
        first: int
        second: int

        @model_validator(mode="after")
        def _differ(self):
            raise FaultsAt([(("first",), "Too alike."), (("second",), "Too alike, too.")])

    class Around(Strict):
        pairs: tuple[Pair, ...]

    path = tmp_path / "pairs.toml"
    path.write_text("[[pairs]]\nfirst = 1\nsecond = 1\n", encoding="utf-8")
    with pytest.raises(StationFileError) as caught:
        load_toml(path, Around, StationFileError)
    assert str(caught.value).splitlines() == [
        f"{path}:2: pairs.1.first: Too alike.",
        f"{path}:3: pairs.1.second: Too alike, too.",
    ]


def test_a_table_that_stands_twice_is_named_as_it_is_written(tmp_path):
    with pytest.raises(StationFileError, match=r"Cannot declare \[a\.b\] twice"):
        load(tmp_path, "[a.b]\nx = 1\n[a.b]\n")


def test_of_many_names_only_the_likely_one_is_told():
    few, many = ["red", "green"], [f"colour {n}" for n in range(40)]
    assert not_defined("colour", "gren", few) == "There is no colour 'gren'; did you mean 'green'?"
    assert not_defined("colour", "zz", few) == "There is no colour 'zz'; there are: 'red', 'green'."
    assert "40, such as 'colour 0'" in not_defined("colour", "zz", many)
    assert not_defined("colour", "zz", []) == "There is no colour 'zz'; there are: none."


def test_what_is_no_toml_is_told_with_its_line(tmp_path):
    with pytest.raises(StationFileError, match="not TOML") as caught:
        load(tmp_path, 'title = "x"\ncount = \n')
    assert caught.value.line == 2


def test_a_text_that_ends_in_the_middle_names_the_last_line(tmp_path):
    with pytest.raises(StationFileError, match="not TOML") as caught:
        load(tmp_path, 'title = "x"\n[nested')
    assert caught.value.line == 2


def test_what_is_not_utf8_is_told_with_its_line(tmp_path):
    with pytest.raises(StationFileError, match="not UTF-8: byte 0xB5") as caught:
        load(tmp_path, b'title = "x"\nunit = "\xb5A"\n')
    assert caught.value.line == 2


def test_a_missing_file_suggests_its_neighbour(tmp_path):
    (tmp_path / "tarnholt.toml").touch()
    with pytest.raises(StationFileError, match=r"no such file.*did you mean 'tarnholt\.toml'"):
        load_toml(tmp_path / "tarnhotl.toml", Whole, StationFileError)


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(ProfileError, match="folder"):
        load_toml(tmp_path, Whole, ProfileError)


def test_a_name_with_nul_is_an_error_of_ours(tmp_path):
    with pytest.raises(StationFileError, match="cannot be read"):
        load_toml(tmp_path / "a\0b.toml", Whole, StationFileError)


def test_deep_nesting_is_an_error_of_ours(tmp_path):
    with pytest.raises(StationFileError, match=r"nests|not TOML"):
        load(tmp_path, "title = " + "[" * 20_000)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.text(alphabet="atile[]{}=\".\n#'0 ", max_size=60))
def test_any_text_gives_the_model_or_the_documented_error(tmp_path, text):
    with contextlib.suppress(StationFileError):
        load(tmp_path, text)


def test_lines_of_tables_in_arrays_of_tables():
    lines = key_lines('[[a]]\n[a.b]\nc = 1\n[[a]]\n[a.b]\nc = 2\n"d e" = 3\n')
    assert lines["a", 0, "b", "c"] == 3
    assert lines["a", 1, "b", "c"] == 6
    assert lines["a", 1, "b", "d e"] == 7
    assert nearest_line(lines, ("a", 1, "x", "y")) == 4
    assert nearest_line(lines, ("z",)) is None


def test_nothing_close_suggests_nothing():
    assert did_you_mean("zzz", ["title"]) == ""
