"""A program file proposed from the files of a folder: what each file seems to be, and which column is which.

A proposal decides nothing that could be wrong in silence: what it is not sure of is marked for a person to settle.
"""

from __future__ import annotations

import csv
import difflib
import json
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from handling_review.inputs import leads_out
from handling_review.intake import contracts
from handling_review.intake.cells import LONGEST_QUOTED, MOST_WORDS, date_order_of
from handling_review.intake.dialect import DELIMITERS, HEADER_LINES, PARQUET, normal, open_text, refuse_wide, scan_bytes
from handling_review.intake.parquet import blocks, column_names
from handling_review.intake.values import Style, canonical
from handling_review.problems import DataProblem, OutputProblem
from handling_review.program import FILE_NAMES, REQUIRED_FILES

ENDINGS = (".csv", ".txt", ".tsv", ".parquet")
SAMPLE_ROWS = 20_000
NEAR = 0.75  # likeness of two headers from which one is offered as a guess
MARK = "# CHECK"
_DAY_NUMBER = re.compile(r"[2-6][0-9]{4}(?:\.[0-9]+)?")  # 1954 to 2091, counted from 1900
_CLOCK = re.compile(r"-?[0-9]{1,4}:[0-5][0-9]")


@dataclass
class Looked:
    """One file as it was looked at: its header and first rows."""

    path: Path
    header: list[str]
    rows: list[list[str]]


@dataclass
class Match:
    """A file held against one contract: sure columns, guessed columns, and required ones that are missing."""

    looked: Looked
    contract: contracts.Contract
    sure: dict[str, int] = field(default_factory=dict)
    guessed: dict[str, int] = field(default_factory=dict)

    @property
    def columns(self) -> dict[str, int]:
        """All proposed columns with their positions."""
        return {**self.sure, **self.guessed}

    @property
    def missing(self) -> list[str]:
        """Required columns that nothing in the header looks like."""
        return self.contract.missing_columns(self.columns)

    @property
    def score(self) -> tuple[int, float]:
        """Better matches have fewer required columns missing and more columns found."""
        return -len(self.missing), len(self.sure) + 0.5 * len(self.guessed)

    def cells(self, column: str) -> list[str]:
        """Distinct filled cells of a proposed column among the first rows, in order."""
        place = self.columns[column]
        found = (row[place].strip() for row in self.looked.rows if place < len(row))
        return list(dict.fromkeys(cell for cell in found if cell))


def propose(exports: Path, target: Path) -> str:
    """Text of a program file for the files in ``exports``, to be written into ``target``.

    Raises ``OutputProblem`` if there is no such folder, ``DataProblem`` if it holds no readable table.
    """
    if not exports.is_dir():
        raise OutputProblem(f"{exports}: there is no such folder. Name the folder that holds your exports.")
    looked, unread = [], []
    for path in sorted(exports.iterdir()):
        if path.is_file() and path.suffix.lower() in ENDINGS:
            try:
                looked.append(look(path))
            except DataProblem as problem:
                unread.append(str(problem))
    if not looked:
        raise DataProblem("\n".join([f"{exports}: no CSV or Parquet file that can be read.", *unread]))
    matches = assign(looked)
    return "".join(_lines(matches, looked, unread, exports, target))


def look(path: Path) -> Looked:
    """Header and first rows of a file, whatever it is a table of."""
    found = scan_bytes(path)
    if found.encoding == PARQUET:
        names = column_names(path, found.seen)
        refuse_wide(path, names)
        first = next(iter(blocks(path, found.seen, names, range(len(names)))), None)
        columns = [] if first is None else [c.slice(0, SAMPLE_ROWS).to_pylist() for c in first.columns]
        return Looked(path, names, [list(row) for row in zip(*columns, strict=True)])
    with open_text(found) as stream:
        text = stream.read(1 << 22)
    best: tuple[tuple[int, int], list[list[str]]] = ((-1, 0), [])
    for delimiter in DELIMITERS:
        try:
            rows = [
                row for row in csv.reader(text.splitlines()[: SAMPLE_ROWS + HEADER_LINES], delimiter=delimiter) if row
            ]
        except csv.Error:
            continue
        place = max(range(min(len(rows), HEADER_LINES)), key=lambda i: (_known(rows[i]), -i))
        score = (_known(rows[place]), len(rows[place]))
        if score > best[0]:
            best = (score, rows[place:])
    if not best[1]:
        raise DataProblem(f"{path.name}: no header line was found.")
    refuse_wide(path, best[1][0])
    return Looked(path, best[1][0], best[1][1:])


def _known(row: list[str]) -> int:
    """How many cells of a row some contract would take for a header."""
    words = {w for name in FILE_NAMES for f in contracts.contract(name).fields for w in _words(f)}
    return sum(normal(cell) in words for cell in row)


def _words(one: contracts.Field) -> set[str]:
    return {normal(one.name), normal(one.title), *(normal(h) for h in one.headers)}


def match(looked: Looked, contract: contracts.Contract) -> Match:
    """Hold a file against a contract."""
    found = Match(looked, contract)
    free = dict(enumerate(normal(cell) for cell in looked.header))
    for test in (lambda f, h: h == normal(f.name), lambda f, h: h in _words(f)):
        for one in contract.fields:
            if one.name in found.sure:
                continue
            place = next((i for i, header in free.items() if header and test(one, header)), None)
            if place is not None:
                found.sure[one.name] = place
                del free[place]
    for one in contract.fields:
        if one.name in found.sure or not contract.is_vital(one.name):
            continue
        likeness = {
            i: max(difflib.SequenceMatcher(None, word, header).ratio() for word in _words(one))
            for i, header in free.items()
            if header
        }
        place = max(likeness, key=lambda i: likeness[i], default=None)
        if place is not None and likeness[place] >= NEAR and found.missing:
            found.guessed[one.name] = place
            del free[place]
    return found


def assign(looked: list[Looked]) -> dict[str, list[Match]]:
    """Which contract each file fits best; several files may fit one. Files that fit none are left out."""
    chosen: dict[str, list[Match]] = {}
    for one in looked:
        found = [match(one, contracts.contract(name)) for name in FILE_NAMES]
        best = max(found, key=lambda m: (m.score, normal(m.contract.name) in normal(one.path.stem)))
        if best.score[1] >= 2:
            chosen.setdefault(best.contract.name, []).append(best)
    return chosen


def _lines(
    matches: dict[str, list[Match]], looked: list[Looked], unread: list[str], exports: Path, target: Path
) -> Iterator[str]:
    yield f"# Program file proposed from the files in {exports.name or exports}.\n"
    yield f"# Lines marked {MARK} are guesses or gaps: settle each, then run: handling-review check program.toml\n\n"
    yield '[facility]\nname = "Unnamed facility"\n\n'
    yield "[review]\n# start, end, as_of, log_complete_through, hours_complete_through: dates such as 2026-06-30\n\n"
    yield "[files]\n"
    if any(leads_out(target, _relative(m.looked.path, target)) for found in matches.values() for m in found):
        yield "allow_outside = true   # the exports lie outside the folder of this file\n"
    for name in FILE_NAMES:
        paths = [_path_text(m.looked.path, target) for m in matches.get(name, [])]
        if paths:
            yield f"{name} = {paths[0] if len(paths) == 1 else '[' + ', '.join(paths) + ']'}\n"
        elif name in REQUIRED_FILES:
            yield f'{name} = "{name}.csv"   {MARK}: no file here looks like this one\n'
    used = {m.looked.path for found in matches.values() for m in found}
    for path in sorted({one.path for one in looked} - used):
        yield f"{MARK}: {path.name} looks like none of the files of a review\n"
    for sentence in unread:
        yield f"{MARK}: not read: {sentence.splitlines()[0]}\n"
    for name, found in matches.items():
        yield from _column_lines(name, found[0])
    yield from _date_lines(matches)
    yield from _hours_lines(matches)
    yield from _code_lines(matches)
    yield from _unit_lines(matches)
    yield from _pay_code_lines(matches)
    yield from _training_lines(matches)


def _path_text(path: Path, target: Path) -> str:
    return json.dumps(_relative(path, target), ensure_ascii=False)


def _relative(path: Path, target: Path) -> str:
    return Path(os.path.relpath(path, target)).as_posix()


def _column_lines(name: str, found: Match) -> Iterator[str]:
    renamed = {
        column: found.looked.header[place]
        for column, place in found.columns.items()
        if normal(found.looked.header[place]) != normal(column)
    }
    if not renamed and not found.missing:
        return
    yield f"\n[columns.{name}]   # our name = the header in {found.looked.path.name}\n"
    for column, header in renamed.items():
        mark = f"   {MARK}: a guess" if column in found.guessed else ""
        yield f"{column} = {json.dumps(header, ensure_ascii=False)}{mark}\n"
    for column in found.missing:
        yield f'# {column} = "?"   {MARK}: required, and no header looks like it\n'


def _date_lines(matches: dict[str, list[Match]]) -> Iterator[str]:
    lines = []
    for name, found in matches.items():
        dates = [f.name for f in found[0].contract.fields if f.type == "date" and f.name in found[0].columns]
        cells = [one.cells(column) for one in found for column in dates if column in one.columns]
        order = date_order_of([cell for listed in cells for cell in listed])
        if order in ("mdy", "dmy"):
            lines.append(f'{name} = "{order}"\n')
        elif order == "either":
            lines.append(f'# {name} = "mdy"   {MARK}: month first or day first ("dmy")? both fit the first rows\n')
        elif order == "mixed":
            lines.append(f"# {MARK}: {name} mixes month first and day first; export it again year-month-day\n")
        elif any(listed and all(_DAY_NUMBER.fullmatch(cell) for cell in listed) for listed in cells):
            lines.append(f'{name} = "serial"   {MARK}: a column of dates holds spreadsheet day numbers\n')
    if lines:
        yield "\n[dates]\n"
        yield from lines


def _hours_lines(matches: dict[str, list[Match]]) -> Iterator[str]:
    found = [cell for m in matches.get("hours", []) if "hours" in m.columns for cell in m.cells("hours")]
    if found and all(_CLOCK.fullmatch(cell) for cell in found):
        yield f'\n[hours]\nwritten_as = "hh:mm"   {MARK}: hours are written as hours and minutes\n'


def _code_lines(matches: dict[str, list[Match]]) -> Iterator[str]:
    for name, found in matches.items():
        for one in found[0].contract.fields:
            if not one.enum or one.name not in found[0].columns:
                continue
            cells = list(dict.fromkeys(cell for m in found if one.name in m.columns for cell in m.cells(one.name)))
            plain = canonical(one, pl.Series(cells, dtype=pl.String), Style()).to_list()
            people = _people(found)
            unknown = [
                c
                for c, p in zip(cells, plain, strict=True)
                if p is not None and p not in one.enum and _is_code(c) and c not in people
            ]
            if unknown:
                yield f"\n[codes.{name}.{one.name}]   {MARK}: put one of {', '.join(one.enum)}\n"
                for cell in unknown[:40]:
                    yield f'{json.dumps(cell, ensure_ascii=False)} = "?"\n'


def _is_code(cell: str) -> bool:
    """Whether a cell may be a code: what is longer is a story, and stories stay where they are."""
    return len(cell) <= LONGEST_QUOTED and len(cell.split()) <= MOST_WORDS


def _people(found: list[Match]) -> set[str]:
    """The ids of people among the first rows of some files, which no line repeats."""
    names = [(m, f.name) for m in found for f in m.contract.fields if f.personal and f.name in m.columns]
    return {cell for m, name in names for cell in m.cells(name)}


def _unit_lines(matches: dict[str, list[Match]]) -> Iterator[str]:
    spellings: dict[str, list[str]] = {}
    for found in matches.values():
        for one in found:
            if "unit" in one.columns:
                for cell in one.cells("unit"):
                    listed = spellings.setdefault(normal(cell), [])
                    if cell not in listed:
                        listed.append(cell)
    twins = [listed for listed in spellings.values() if len({" ".join(s.split()).casefold() for s in listed}) > 1]
    hours = {normal(c) for m in matches.get("hours", []) if "unit" in m.columns for c in m.cells("unit")}
    cases = [c for m in matches.get("incidents", []) if "unit" in m.columns for c in m.cells("unit")]
    strange = [cell for cell in cases if normal(cell) not in hours] if hours else []
    if twins or strange:
        yield f"\n[units.aliases]   {MARK}: their spelling = the unit\n"
        for listed in twins:
            for spelling in listed[1:]:
                yield f"# {json.dumps(spelling, ensure_ascii=False)} = {json.dumps(listed[0], ensure_ascii=False)}\n"
        for cell in strange:
            yield f'# {json.dumps(cell, ensure_ascii=False)} = "?"   # injuries, but no hours in the first rows\n'


def _pay_code_lines(matches: dict[str, list[Match]]) -> Iterator[str]:
    codes = [c for m in matches.get("hours", []) if "pay_code" in m.columns for c in m.cells("pay_code")]
    if codes:
        listed = ", ".join(json.dumps(c, ensure_ascii=False) for c in dict.fromkeys(codes))
        yield f"\n[pay_codes]   {MARK}: sort these codes: {listed}\n"
        yield "worked = []\nnot_worked = []\npremium_only = []\n"


def _training_lines(matches: dict[str, list[Match]]) -> Iterator[str]:
    courses = [c for m in matches.get("training", []) if "course" in m.columns for c in m.cells("course")]
    if courses:
        listed = ", ".join(json.dumps(c, ensure_ascii=False) for c in dict.fromkeys(courses))
        yield f"\n[training]   {MARK}: keep the courses that count as trained in safe handling\n"
        yield f"# qualifying_courses = [{listed}]\n"
