"""The committee's copy holds no person: not in tables, pictures, hover texts, descriptions, embedded data or CSV files.

Ids and literal days are looked for in ``test_no_person.py``. Here an attacker reads the finished page and the tables
folder for small groups of injured staff, for rows that cross job, unit and time, and for lists in the order of cases.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import product
from pathlib import Path
from typing import Any

import duckdb
import pytest

from whole.wide_attack import Page, number, read

KINDS = {
    "job": "job",
    "tenure": "time since the first hours",
    "body_part": "body part",
    "nature": "kind of injury",
    "hour": "hour of the day",
}
UNKNOWN = ("not given", "not known")


@dataclass(frozen=True)
class Output:
    """What was built, and the truth from the database."""

    folder: Path
    page: Page
    figures: dict[str, Any]
    groups: dict[str, dict[str, int]]
    cases: list[tuple[date, str, int, int]]  # day, unit, days lost, days to the report; in the order of the days
    jobs: frozenset[str]
    units: frozenset[str]


@pytest.fixture(scope="module")
def output(sample_review: tuple[Path, Path]) -> Output:
    _, out = sample_review
    html = (out / "program-review.html").read_text(encoding="utf-8")
    figures = {
        name: json.loads(text)
        for name, text in re.findall(r'<script type="application/json" id="([^"]+)">(.*?)</script>', html, re.DOTALL)
    }
    assert len(figures) > 15
    packed = re.sub(r'<script type="text/plain" id="plotly-packed">.*?</script>', "", html, flags=re.DOTALL)
    with duckdb.connect(str(out / "review.duckdb"), read_only=True) as store:
        groups: dict[str, dict[str, int]] = {}
        for kind, value, cases in store.sql(
            "SELECT kind, value, sum(handling) FROM out_case_groups AS g JOIN out_quarters AS q USING (quarter) "
            "WHERE q.is_complete GROUP BY ALL ORDER BY ALL"
        ).fetchall():
            groups.setdefault(kind, {})[value] = int(cases)
        cases = store.sql(
            "SELECT event_date, unit, coalesce(days_away, 0) + coalesce(days_restricted, 0), coalesce(reported_date - "
            "event_date, 0) FROM int_cases WHERE is_recordable ORDER BY event_date, case_number"
        ).fetchall()
        jobs = store.sql("SELECT DISTINCT job FROM out_staff_hours").fetchall()
        units = store.sql("SELECT DISTINCT unit FROM out_units UNION SELECT DISTINCT name FROM out_units").fetchall()
    return Output(
        out,
        read(packed),
        figures,
        groups,
        [(day, unit, int(lost), int(lag)) for day, unit, lost, lag in cases],
        frozenset(str(row[0]).casefold() for row in jobs) - set(UNKNOWN),
        frozenset(str(row[0]).casefold() for row in units if row[0]),
    )


def csv_rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def strings(thing: Any) -> Iterator[str]:
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, dict):
        for key, value in thing.items():
            yield str(key)
            yield from strings(value)
    elif isinstance(thing, list):
        for value in thing:
            yield from strings(value)


def lists_of_numbers(thing: Any) -> Iterator[list[float]]:
    if isinstance(thing, list):
        plain = [value for value in thing if isinstance(value, int | float) and not isinstance(value, bool)]
        if plain and len(plain) >= len(thing) - 1:
            yield [float(value) for value in plain]
        for value in thing:
            yield from lists_of_numbers(value)
    elif isinstance(thing, dict):
        for value in thing.values():
            yield from lists_of_numbers(value)


def printed_groups(output: Output, kind: str) -> list[tuple[str, int]]:
    """Groups and cases of one kind, from the CSV file; the page's own table has to say the same."""
    rows = [row for row in csv_rows(output.folder / "tables" / "injured_groups.csv") if row["kind"] == kind]
    return [(row["group"], int(row["cases"])) for row in rows]


def test_no_group_of_one_to_four_cases_is_on_the_page_or_in_the_tables(output: Output) -> None:
    small = {(k, v): n for k, groups in output.groups.items() for v, n in groups.items() if 0 < n < 5}
    assert len(small) >= 5
    for kind, group in small:
        assert group not in {name for name, _ in printed_groups(output, kind)}
    keys = {row["key"]: row["value"] for row in csv_rows(output.folder / "tables" / "numbers.csv")}
    for kind, group in small:
        part = f"group:{kind}:{group.replace(' ', '%20')}/"
        assert not [key for key in keys if part in key]
        assert not [value for _, name, value in output.page.attributes if name == "data-key" and part in value]
    shares = [key for key in keys if key.startswith("group_known/")]
    assert shares == [], "with the share of cases without a group the rest of a heap could be told"


def test_heaps_of_small_groups_cannot_be_taken_apart_with_all_that_is_printed(output: Output) -> None:
    """The attacker knows every group's name, which are small, all shown counts and the total."""
    tried = 0
    totals = {
        int(float(row["value"]))
        for row in csv_rows(output.folder / "tables" / "numbers.csv")
        if row["key"].startswith("group_cases/")
    }
    for kind, groups in output.groups.items():
        shown = dict(printed_groups(output, kind))
        if not shown:
            continue
        heap = [name for name, count in groups.items() if name not in shown and count]
        if not heap:
            continue
        assert shown["all others"] == sum(groups[name] for name in heap)
        assert sum(shown.values()) in totals
        ranges = [range(1, 5) if groups[n] < 5 else range(5, shown["all others"] + 1) for n in heap]
        ways = [way for way in product(*ranges) if sum(way) == shown["all others"]]
        for at, name in enumerate(heap):
            if groups[name] < 5:
                tried += 1
                assert len({way[at] for way in ways}) > 1, (kind, name)
    assert tried >= 5


def test_no_other_table_of_the_page_breaks_cases_down_by_group(output: Output) -> None:
    """Names of small groups stand in no table, picture, hover text or description beside a number of cases."""
    names = {v for k in ("job", "body_part", "nature") for v, n in output.groups.get(k, {}).items() if 0 < n < 5}
    assert names
    by_group = [caption for caption in output.page.tables if any(f" by {title}" in caption for title in KINDS.values())]
    for caption, rows in output.page.tables.items():
        if caption not in by_group:
            assert not [row.label for row in rows if row.label.casefold() in names], caption
    for figure in output.figures.values():
        assert not names & {text.casefold() for text in strings(figure)}


def test_no_table_crosses_job_with_unit_or_time(output: Output) -> None:
    jobs, units = output.jobs, output.units
    assert len(jobs) >= 3
    assert len(units) >= 5
    time = re.compile(r"(FY)?20\d\d(-Q[1-4]|-\d\d)")
    seen = 0
    sources: list[tuple[str, list[str]]] = [
        (caption, [caption, *(text for row in rows for text in (row.label, *row.cells))])
        for caption, rows in output.page.tables.items()
    ]
    sources += [(name, list(strings(figure))) for name, figure in output.figures.items()]
    for name, texts in sources:
        plain = {text.strip().casefold() for text in texts}
        if not plain & jobs or name == "Program file as used":  # settings: names of units and jobs, no cases
            continue
        seen += 1
        assert not plain & units, name
        assert not [text for text in texts[1:] if time.fullmatch(text.strip())], name
    for path in sorted((output.folder / "tables").glob("*.csv")):
        rows = csv_rows(path)
        if path.name == "numbers.csv" or not rows:
            continue
        plain = {value.strip().casefold() for row in rows for value in row.values() if value}
        if plain & jobs:
            seen += 1
            assert not {"unit", "unit_name", "quarter", "month", "date"} & set(rows[0]), path.name
    for row in csv_rows(output.folder / "tables" / "numbers.csv"):
        if "group:job:" in row["key"]:
            assert "unit:" not in row["key"]
            assert not re.search(r"20\d\d", row["key"])
    assert seen >= 2


def runs(values: Sequence[float], length: int) -> set[tuple[float, ...]]:
    return {tuple(values[i : i + length]) for i in range(len(values) - length + 1)}


def test_no_embedded_list_runs_in_the_order_of_cases(output: Output) -> None:
    """Days lost, days to the report, and days of events, case by case: no list of a picture or table holds six.

    Fewer small numbers in a row are met by chance.
    """
    for unit in (None, *sorted({unit for _, unit, _, _ in output.cases})):
        own = [case for case in output.cases if unit is None or case[1] == unit]
        first = own[0][0].toordinal()
        orders = [
            [float(case[2]) for case in own],
            [float(case[3]) for case in own],
            [float(case[0].toordinal() - first) for case in own],
            [float((case[0] - date(1970, 1, 1)).days * 86_400_000) for case in own],
        ]
        secret = {run for order in orders for run in runs(order, 6) if len(set(run)) >= 4}
        for name, figure in output.figures.items():
            for values in lists_of_numbers(figure):
                assert not runs(values, 6) & secret, (name, unit)
        for path in sorted((output.folder / "tables").glob("*.csv")):
            columns = csv_rows(path)
            for column in columns[0] if columns else ():
                plain = [number(row[column] or "") for row in columns]
                assert not runs([-1.0 if v is None else v for v in plain], 6) & secret, (path.name, column)


def test_the_day_of_a_case_does_not_follow_from_the_waits(output: Output) -> None:
    """The waits of a chart add up to the span of its cases; its end is known to a week, less the quarters.

    Two days or more stay possible for each case, also for a reader who uses every quarter label and the last wait.
    """
    rows = csv_rows(output.folder / "tables" / "days_between_cases.csv")
    log_ends = date(2026, 6, 30).toordinal()  # sample_data/program.toml
    places = sorted({row["place"] for row in rows})
    assert places
    for place in places:
        *ended, open_wait = [row for row in rows if row["place"] == place]
        assert len(ended) >= 5, "a chart of a place with fewer cases than the privacy threshold"
        assert [row["has_not_ended"] for row in (*ended, open_wait)] == ["False"] * len(ended) + ["True"]
        since = int(float(open_wait["days"]))
        possible = []
        for last in range(log_ends - since - 6, log_ends - since + 1):
            day, fits = last, True
            for row in reversed(ended):
                year, quarter = int(row["quarter"][:4]), int(row["quarter"][-1])
                fits &= date.fromordinal(day).year == year and (date.fromordinal(day).month + 2) // 3 == quarter
                day -= int(float(row["days"]))
            possible += [last] if fits else []
        assert len(possible) >= 2, place
