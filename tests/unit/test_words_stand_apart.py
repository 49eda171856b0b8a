"""Prose about results stands in page/words/ and nowhere else on the page.

The rule, so that it can be checked: outside page/words/ no text given to ``say`` has more than four words, and no other
text (but a docstring or what a program error says) of more than four words ends a sentence. Captions, column titles,
headings, names of lines in pictures and the mechanical joins of cells ("3.1 to 9.2") stay where they are used.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import handling_review
from handling_review import files

PAGE = Path(handling_review.__file__).parent / "page"
OUTSIDE = sorted(path for path in PAGE.glob("*.py") if path.name not in ("__init__.py", "sentence.py"))
MOST_WORDS = 4


def text_of(node: ast.AST) -> str | None:
    """The fixed text of a literal, with {} where something is filled in; ``None`` for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return None


def words_in(text: str) -> int:
    return len(re.findall(r"[A-Za-z’']{2,}", text))


def ends_a_sentence(text: str) -> bool:
    return re.search(r"[A-Za-z0-9)%}\]”][.!](\s|$)", text) is not None


def prose_in(source: str) -> Iterator[tuple[int, str]]:
    """Lines and texts that the rule forbids outside the words."""
    tree = ast.parse(source)
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and node.body:
            skipped.add(id(getattr(node.body[0], "value", None)))
        if isinstance(node, ast.Raise):
            skipped |= {id(part) for part in ast.walk(node)}
        if isinstance(node, ast.JoinedStr):
            skipped |= {id(part) for part in node.values}
    said = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "say"
        for part in ast.walk(node)
    }
    for node in ast.walk(tree):
        text = text_of(node)
        if text is None or id(node) in skipped or words_in(text) <= MOST_WORDS:
            continue
        if id(node) in said or ends_a_sentence(text):
            yield getattr(node, "lineno", 0), text


@pytest.mark.parametrize("path", OUTSIDE, ids=lambda path: path.name)
def test_no_prose_stands_outside_the_words(path: Path) -> None:
    found = list(prose_in(path.read_text(encoding="utf-8")))
    assert found == [], "move it to page/words/ and name it there"


def test_the_rule_sees_prose_and_leaves_labels_alone() -> None:
    assert len(list(prose_in('x = say("The rate of injuries was lower ", n)'))) == 1
    assert len(list(prose_in('notes = (f"A small unit says {n} and no more.",)'))) == 1
    assert list(prose_in('x = say(low, " to ", high)')) == []
    assert list(prose_in('Table("Rates by quarter and unit, per 200,000 hours", ())')) == []
    assert list(prose_in('def f():\n    """The rates of all units, one by one."""')) == []


def test_templates_hold_no_number_and_no_sentence_about_a_result() -> None:
    """A template may hold fixed sentences; digits in its text would be numbers typed by hand."""
    for name in files.names("reports", ".j2"):
        bare = re.sub(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", "", files.read_text("reports", name), flags=re.DOTALL)
        bare = re.sub(r"<svg.*?</svg>|<[^>]*>", " ", bare, flags=re.DOTALL).replace("SHA-256", "")
        assert re.findall(r"[^\n]{0,30}\d[^\n]{0,30}", bare) == [], name
