"""Text from files and settings: nothing unseen, nothing that turns its neighbours about, nothing too long."""

from __future__ import annotations

import csv
import unicodedata
from pathlib import Path

import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handling_review import cli
from handling_review.intake.contracts import contract
from handling_review.intake.values import Style, canonical, notes, tidy
from handling_review.page.house import named, safe, wrapped
from handling_review.page.sentence import say
from handling_review.review import formula_safe, write_csv
from handling_review.visible import lines, printable, readable, short
from whole import facility

ANY = st.text(st.characters(exclude_categories=("Cs",)), max_size=120)


@pytest.mark.parametrize(
    ("given_text", "wanted"),
    [
        ("3 East", "3 East"),
        ("\u202eevil\u202c", "evil"),
        ("\u2066a\u2069\u200f\u061c", "a"),
        ("a\u200b\ufeff\u00adb", "ab"),
        ("\x1b[31mred\x1b[0m", "red"),
        ("\x1b]0;title\x07x", "x"),
        ("\x9b2Jx\x00\x08", "x"),
        ("a\u2028b\x85c", "a b c"),
        ("tab\tand\nline", "tab\tand\nline"),
        ("Zoë – Ünit", "Zoë – Ünit"),
        ("\U000e0041tag", "tag"),
    ],
)
def test_what_cannot_be_seen_is_left_out(given_text: str, wanted: str) -> None:
    assert printable(given_text) == wanted


def test_a_tower_of_marks_is_cut_down() -> None:
    assert printable("Z" + "\u0321" * 30 + "a") == "Z" + "\u0321" * 4 + "a"


def test_right_to_left_text_is_isolated_and_other_text_is_not() -> None:
    # Unicode Standard Annex 9, section 2.6: U+2068 and U+2069 keep a name's direction from the text around it.
    assert readable("אבג 1") == "\u2068אבג 1\u2069"
    assert readable("3 East") == "3 East"
    assert printable(readable("אבג 1")) == "אבג 1"


def test_a_long_word_may_break_and_comes_back_whole() -> None:
    broken = readable("W" * 300)
    assert max(len(part) for part in broken.split("\u200b")) == 40
    assert printable(broken) == "W" * 300


@given(ANY)
def test_nothing_unseen_is_left_and_a_second_pass_changes_nothing(text: str) -> None:
    plain = printable(text)
    assert printable(plain) == plain
    assert not [char for char in plain if unicodedata.category(char) == "Cc" and char not in "\t\n\r"]
    assert printable(readable(text)) == printable(text)


@given(ANY, st.integers(5, 40), st.integers(1, 3))
def test_lines_and_short_names_keep_to_their_room(text: str, width: int, most: int) -> None:
    found = lines(text, width, most)
    assert len(found) <= most
    letters = [sum(unicodedata.category(char) not in ("Mn", "Me", "Cf") for char in line) for line in found]
    assert all(count <= width for count in letters)
    assert sum(unicodedata.category(char) not in ("Mn", "Me", "Cf") for char in short(text, width)) <= max(width, 1)


def test_labels_of_plotly_read_no_markup_and_no_formula() -> None:
    for make in (safe, named, wrapped):
        text = make("<b>x</b>&$a$")
        assert "<b" not in text
        assert "$" not in text
    assert safe("<b>&$") == "&lt;b&gt;&amp;&#36;"


def test_a_sentence_is_escaped_on_the_page() -> None:
    assert say("<img src=x onerror=y>{{7*7}}\"'").__html__() == "&lt;img src=x onerror=y&gt;{{7*7}}&#34;&#39;"


STARTS = ("=", "+", "-", "@", "\t", "\r", "|", "＝", " =", "\u200b=", "\u202e=", "\x1b[1m=", "\u2068=")


@pytest.mark.parametrize("start", STARTS)
def test_no_cell_of_a_table_starts_a_formula(start: str, tmp_path: Path) -> None:
    write_csv(pd.DataFrame({"name": [f"{start}1+1"], "rate": [-1.5]}), tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as table:
        _, (name, rate) = csv.reader(table)
    assert name.startswith("'")
    assert rate == "-1.5", "a number stays a number"
    assert formula_safe(f"{start}1+1").startswith("'")


def test_hidden_signs_are_dropped_from_cells_and_told() -> None:
    unit = contract("units").field("unit")
    values = pl.Series(["3 East", "3\u202e East", "3 East\x00", "\ufeff3 East"])
    assert canonical(unit, values, Style()).to_list() == ["3 East"] * 4
    assert notes(unit, values, Style()).to_list() == [None, "hidden signs", "hidden signs", None]
    assert [tidy(v) for v in values] == ["3 East"] * 4


def test_the_terminal_gets_no_command_from_a_file_or_an_argument(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = "\x1b[2J\x1b]0;owned\x07\u202eNor\x9bth"
    program = facility.write(tmp_path / "f\x1b[31m", incidents=facility.INCIDENTS.replace("toileting", f"toil{bad}"))
    cli.main(["check", str(program)])
    with pytest.raises(SystemExit):
        cli.main(["check", "x", "--as-of", bad])
    cli.main(["build", str(tmp_path / f"no{bad}.toml")])
    told = "".join(capsys.readouterr())
    assert "toil" in told
    assert not set("\x1b\x07\x9b\u202e").intersection(told)
