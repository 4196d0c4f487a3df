"""Documents: lines of keys, errors in one line, digests, hostile files."""

from __future__ import annotations

import os
from typing import Annotated, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from sequencer.documents import MAX_BYTES, Strict, parse_document, read_document
from sequencer.errors import InputError


class Sphere(Strict):
    kind: Literal["sphere"]
    radius_m: float = Field(gt=0)
    marks: tuple[str, ...] = ()


class Cube(Strict):
    kind: Literal["cube"]
    side_m: float
    source: str | None = Field(default=None, alias="from")


class Shelf(Strict):
    title: str = ""
    level: int = 0
    fixed: bool = False
    bodies: dict[str, Annotated[Sphere | Cube, Field(discriminator="kind")]] = {}
    rows: tuple[Sphere, ...] = ()


def refused(text):
    with pytest.raises(InputError) as caught:
        parse_document(text, "shelf.toml").validate(Shelf)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("shelf.toml:")
    return caught.value


TEXT = """\
# a comment
title = "x"

[bodies.ball]
kind = "sphere"
radius_m = 1
"marks" = [
    "a",  # first

    "b",
]

[[rows]]
kind = "sphere"
radius_m = 2.5
[[rows]]
kind = "sphere"
radius_m = 3

[bodies]
box = { kind = "cube", side_m = 1e-3, from = "shop" }
a.b."c d".e = 1
"""


@pytest.mark.parametrize(
    ("loc", "line"),
    [
        (("title",), 2),
        (("bodies", "ball"), 4),
        (("bodies", "ball", "radius_m"), 6),
        (("bodies", "ball", "marks"), 7),
        (("bodies", "ball", "marks", 0), 8),
        (("bodies", "ball", "marks", 1), 10),
        (("bodies", "ball", "unheard_of", "deeper"), 4),
        (("rows", 0), 13),
        (("rows", 0, "radius_m"), 15),
        (("rows", 1), 16),
        (("rows", 1, "radius_m"), 18),
        (("bodies", "box", "from"), 21),
        (("bodies", "a", "b", "c d", "e"), 22),
        (("nowhere",), None),
        ((), None),
    ],
)
def test_every_key_has_its_line(loc, line):
    assert parse_document(TEXT, "x.toml").line(loc) == line


def test_a_table_inside_an_array_of_tables_belongs_to_the_last_entry():
    text = "[[a]]\n[a.b]\nc = 1\n[[a]]\n[a.b]\nc = 2\n[[a.d]]\ne = 1\n[[a.d]]\ne = 2\n"
    document = parse_document(text, "x.toml")
    assert [document.line(("a", n, "b", "c")) for n in (0, 1)] == [3, 6]
    assert [document.line(("a", 1, "d", n, "e")) for n in (0, 1)] == [8, 10]


def test_a_good_document_becomes_its_model():
    text = '[bodies.ball]\nkind = "sphere"\nradius_m = 2\nmarks = ["a", "b"]\n'
    shelf = parse_document(text, "x.toml").validate(Shelf)
    ball = shelf.bodies["ball"]
    assert isinstance(ball, Sphere)
    assert ball.radius_m == 2.0
    assert ball.marks == ("a", "b")


@pytest.mark.parametrize(
    ("text", "line", "what", "near"),
    [
        ("titel = 'x'", 1, "unknown key 'titel'", "title"),
        ("\n\nlevel = 'x'", 3, "'level' must be a whole number, not 'x'", None),
        ("level = 1.0", 1, "'level' must be a whole number, not 1.0", None),
        ("level = true", 1, "must be a whole number, not true", None),
        ("title = 3", 1, "'title' must be text, not 3", None),
        ("fixed = 1", 1, "'fixed' must be true or false, not 1", None),
        ("rows = 3", 1, "'rows' must be a list, not 3", None),
        ("bodies = 3", 1, "'bodies' must be a table, not 3", None),
        ("[bodies.b]\nkind = 'sphere'\nradius_m = '1'", 3, "must be a number, not '1'", None),
        ("[bodies.b]\nkind = 'sphere'\nradius_m = nan", 3, "must be a finite number", None),
        ("[bodies.b]\nkind = 'sphere'\nradius_m = -inf", 3, "must be a finite number", None),
        ("[bodies.b]\nkind = 'sphere'\nradius_m = 0", 3, "must be greater than 0, not 0", None),
        ("[bodies.b]\nkind = 'sphere'\nradius = 1", 3, "unknown key 'radius'", "radius_m"),
        ("[bodies.b]\nkind = 'sphere'", 1, "'radius_m' is missing in [bodies.b]", None),
        ("[bodies.b]\nkind = 'spere'", 2, "not one of 'sphere', 'cube'", "sphere"),
        ("[bodies.b]\nradius_m = 1", 1, "'kind' is missing in [bodies.b]", None),
        ("[bodies]\nb = {kind = 'cube', side_m = 1, form = ''}", 2, "unknown key 'form'", "from"),
        (
            "[[rows]]\nkind = 'sphere'\nradius_m = 1\n[[rows]]\nkind = 3\nradius_m = 1",
            5,
            "rows[2].kind",
            None,
        ),
        ("rows = [\n {kind = 'sphere', radius_m = 1},\n {kind = 'sphere'},\n]", 3, "rows[2]", None),
        ("[bodies.b]\nkind = 'sphere'\nradius_m = 1\nmarks = ['a',\n2]", 5, "marks[2]", None),
    ],
)
def test_the_first_fault_is_one_line_with_its_place(text, line, what, near):
    error = refused(text)
    assert error.line == line
    assert what in error.what
    assert error.nearest == near


def test_a_date_has_no_meaning_of_its_own_and_is_text():
    assert parse_document("title = 2026-01-01", "x.toml").validate(Shelf).title == "2026-01-01"


def test_of_several_faults_the_first_in_the_file_is_told():
    error = refused("rows = 3\nlevel = 'x'\ntitle = 2\n")
    assert (error.line, "rows" in error.what) == (1, True)


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("a = 1\nb =\n", 2, "no value"),
        ("a = [1,\n2", 2, "unclosed array"),
        ("a = 1\na = 2\n", 2, "has a value already"),
        ("[t]\n[t]\n", 2, "the table [t] is declared twice"),
        ("[a.b]\n[a.b]\n", 2, "the table [a.b] is declared twice"),
        ("a = {b = 1, b = 2}", 1, "the key 'b' is given twice"),
        ("a = {b = 1}\na.c = 2", 2, "'a' is complete already"),
        ("?", 1, "neither KEY = VALUE nor a [table]"),
        ('a = "x\nb = 1', 1, "not closed by its quotation mark"),
        ("a = 1\rb = 2", 1, "CR alone"),
        ("= 1", 1, "not valid TOML"),
        ("a = 'x", 1, "not valid TOML"),
        ("a = " + "[" * 100_000, None, "nested too deeply"),
        ("a = " + "[" * 100 + "]" * 100, None, "nested too deeply"),
        ("a" + ".a" * 3000 + " = 1", None, "nested too deeply"),
        ("a = " + "9" * 5000, None, "too many digits"),
        ("a = 0x" + "f" * 9000, None, "too many digits"),
        ("a = 2026-02-31", None, "not valid TOML"),
    ],
)
def test_what_is_no_toml_is_one_line(text, line, what):
    error = refused(text)
    assert what in error.what
    if line is not None:
        assert error.line == line
    assert len(str(error)) < 200


def test_a_missing_file_is_told_with_its_nearest_neighbour(tmp_path):
    (tmp_path / "flight.sequence.toml").touch()
    with pytest.raises(InputError) as caught:
        read_document(tmp_path / "fligt.sequence.toml")
    assert "no such file" in str(caught.value)
    assert caught.value.nearest == str(tmp_path / "flight.sequence.toml")


def test_a_directory_is_told(tmp_path):
    with pytest.raises(InputError, match="is a directory"):
        read_document(tmp_path)


def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(InputError, match="not a regular file"):
        read_document(tmp_path / "pipe.toml")


def test_bytes_that_are_not_utf_8_are_told_with_their_line(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"a = 1\nb = '\xff'\n")
    with pytest.raises(InputError, match="not UTF-8") as caught:
        read_document(path)
    assert caught.value.line == 2


def test_a_huge_file_is_refused(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"#" * (MAX_BYTES + 1))
    with pytest.raises(InputError, match="larger than"):
        read_document(path)


def test_a_name_with_a_null_byte_is_told():
    with pytest.raises(InputError):
        read_document("a\0b.toml")


def test_a_mark_and_line_ends_of_another_system_are_read(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbftitle = 'x'\r\nlevel = 2\r\n")
    document = read_document(path)
    assert document.validate(Shelf).level == 2
    assert document.line(("level",)) == 2


def test_the_digest_ignores_how_it_is_written_but_not_what():
    plain = parse_document("[a]\nb = 1\nc = 'x'\n", "x.toml").digest
    assert parse_document('# hello\na = {b = 1, c = "x"}', "y.toml").digest == plain
    assert parse_document("[a]\nb = 2\nc = 'x'\n", "x.toml").digest != plain
    assert parse_document("[a]\nc = 'x'\nb = 1\n", "x.toml").digest != plain


_KEYS = st.sampled_from(["title", "level", "rows", "bodies", "a-b", '"q r"', "'s'", "a.b", "x\\"])
_VALUES = st.sampled_from(
    ["1", "1.5", "'x'", '"\\u00e9"', "true", "[1, [2]]", "{a = 1}", "nan", "0x1f", "[", "'''\nx'''"]
)
_LINES = st.one_of(
    st.builds("{} = {}".format, _KEYS, _VALUES),
    st.builds("[{}]".format, _KEYS),
    st.builds("[[{}]]".format, _KEYS),
    st.text(max_size=12),
)


@given(st.lists(_LINES, max_size=6).map("\n".join))
def test_nothing_but_an_input_error_comes_of_any_text(text):
    fault = None
    try:
        parse_document(text, "x.toml").validate(Shelf)
    except InputError as error:
        fault = error
    assert fault is None or "\n" not in str(fault)
