"""trace: every published number of two facilities back to its formula, its rows, its rules and its query."""

from __future__ import annotations

import csv
import hashlib
import math
import re
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest

from handling_review import starter
from handling_review.cli import main
from handling_review.problems import ReviewProblem
from handling_review.trace.formula import worked_out
from handling_review.trace.output import Output, Published
from handling_review.trace.selection import COUNT, RANGES, find
from handling_review.trace.text import explained
from handling_review.trace.tracer import Explanation, Tracer
from whole import facility, traced

TO_FOUR_DECIMALS = 1e-3  # hours: cells are rounded to four decimals before they are added up


@pytest.fixture(scope="module")
def sample(sample_review: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The output folder alone, away from the files that it was made of."""
    return Path(shutil.copytree(sample_review[1], tmp_path_factory.mktemp("traced") / "out"))


@pytest.fixture(scope="module")
def hand(hand_review: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(hand_review[1], tmp_path_factory.mktemp("traced-hand") / "out"))


@pytest.fixture(scope="module")
def stated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample with another series, another year, a stated cost of a case and indirect costs."""
    folder = tmp_path_factory.mktemp("traced-stated")
    program = starter.copy_sample(folder / "sample")
    text = program.read_text(encoding="utf-8")
    for old, new in (
        ("fiscal_year_start_month = 1", "fiscal_year_start_month = 10"),
        ('series = "handling"', 'series = "recordable"'),
        (
            "wage_per_hour",
            "cost_low = 4000\ncost_base = 9000\ncost_high = 20000\nindirect_multiplier = 0.5\nwage_per_hour",
        ),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    program.write_text(text, encoding="utf-8")
    return traced.build(program, folder / "out")


@pytest.fixture(scope="module")
def opened() -> Iterator[Callable[[Path], Tracer]]:
    """Opens a review once, so that what one test was told stands for the others."""
    with ExitStack() as until_the_end:
        kept: dict[Path, Tracer] = {}

        def open_once(out: Path) -> Tracer:
            if out not in kept:
                kept[out] = Explained(until_the_end.enter_context(traced.CopiedOutput(out)))
            return kept[out]

        yield open_once


@pytest.fixture(scope="module", params=["sample", "hand", "stated"])
def tracer(request: pytest.FixtureRequest, opened: Callable[[Path], Tracer]) -> Tracer:
    return opened(request.getfixturevalue(request.param))


@pytest.fixture(scope="module", params=["sample", "hand"])
def counted(request: pytest.FixtureRequest, opened: Callable[[Path], Tracer]) -> Tracer:
    return opened(request.getfixturevalue(request.param))


def is_value(found: float, number: Published) -> bool:
    if number.value is None:
        return math.isnan(found)
    if math.isinf(number.value):
        return found == number.value
    return math.isclose(found, number.value, rel_tol=1e-9, abs_tol=1e-12)


class Explained(Tracer):
    """Keeps each explanation, since several tests walk all keys."""

    def __init__(self, output: Output) -> None:
        super().__init__(output)
        self._kept: dict[str, Explanation] = {}

    def explain(self, key: str) -> Explanation:
        if key not in self._kept:
            self._kept[key] = super().explain(key)
        return self._kept[key]


def explanations(tracer: Tracer) -> Iterator[Explanation]:
    for key in tracer.output.numbers:
        yield tracer.explain(key)


def test_every_number_has_words_and_a_formula_a_method_or_rows(tracer: Tracer) -> None:
    assert len(tracer.output.numbers) > 500
    for found in explanations(tracer):
        key = found.number.key
        assert len(found.words) > 10, key
        assert "{" not in found.words, found.words
        assert "None" not in found.words, found.words
        is_worked_out = found.formula is not None and found.formula.is_given
        assert is_worked_out or found.method is not None or tracer.own_rows(key), key
        if found.method is not None:
            assert found.method.words, key
            assert found.method.source, key


def test_every_formula_gives_the_number_from_the_inputs_as_they_are_printed(tracer: Tracer) -> None:
    worked = 0
    for found in explanations(tracer):
        if found.formula is None or not found.formula.is_given:
            continue
        assert is_value(found.formula.result(), found.number), found.number
        if found.number.value is not None:
            assert is_value(worked_out(found.formula.filled()), found.number), found.number
        worked += 1
    assert worked > 200


def test_every_input_is_a_number_that_can_be_traced_on_or_says_its_source(counted: Tracer) -> None:
    for found in explanations(counted):
        for one in found.formula.inputs if found.formula else ():
            assert one.key in counted.output.numbers if one.key else one.source, (found.number.key, one)


def test_the_rows_of_a_number_that_counts_them_add_up_to_it(counted: Tracer) -> None:
    checked: dict[str, int] = {}
    for key, number in counted.output.numbers.items():
        own = counted.own_rows(key)
        found = counted.explain(key)
        if not own or found.formula is not None or found.method is not None or number.value is None:
            continue
        rows = find(counted.output, own[0])
        slack = TO_FOUR_DECIMALS if number.unit == "hours" else 0
        assert abs(rows.total - number.value) <= slack, (key, number.value, rows.total)
        if number.unit == "cases":
            assert sum(len(lines) for _, lines in rows.lines) == number.value, key
        checked[key.split("/")[0]] = checked.get(key.split("/")[0], 0) + 1
    heads = [key.split("/")[0] for key in counted.output.numbers]
    for head in ("cases", "hours"):
        assert checked[head] == heads.count(head)


def test_a_pasted_query_gives_the_same_count(counted: Tracer) -> None:
    asked = 0
    for key in counted.output.numbers:
        for selection in counted.own_rows(key):
            found = find(counted.output, selection)
            first = counted.output.rows(selection.query())[0]
            assert math.isclose(float(first[-1] or 0), found.total, rel_tol=1e-12, abs_tol=1e-9), selection.query()
            if selection.amount and selection.lines != COUNT:
                assert int(first[0]) == found.rows
            asked += 1
    assert asked > 200


def test_a_pasted_query_runs_on_the_database_itself(sample: Path) -> None:
    with Output(sample) as output:
        tracer = Tracer(output)
        asked = [own.query() for key in one_key_a_family(tracer) for own in tracer.own_rows(key)]
        found = [output.rows(query) for query in asked]
    with duckdb.connect(str(sample / "review.duckdb"), read_only=True) as database:
        assert [database.execute(query).fetchall() for query in asked] == found


def test_lines_are_those_of_the_exports(hand: Path) -> None:
    log = facility.INCIDENTS.splitlines()
    with Output(hand) as output:
        tracer = Tracer(output)
        # cases 001 (line 2) and 003 (line 4): before training; 005 (line 6): after; 002 (line 3): in the washout
        for phase, lines in (("before", (2, 4)), ("after", (6,)), ("washout", (3,)), ("never", ())):
            rows = find(output, tracer.own_rows(f"cases/facility/{phase}/handling")[0])
            assert rows.lines == ((("incidents.csv", lines),) if lines else ())
        assert log[1].startswith("001,")
        assert log[3].startswith("003,")
        # person 007 has 450 hours over 90 days: 59 days before 1 March, 30 in the washout, 1 after; 455 all after
        rows = find(output, tracer.own_rows("hours/facility/after")[0])
        assert rows.lines == (("hours.csv", (2, 3, 5)),)
        assert rows.in_part == 2  # 007's first period (1 day of 90) and 008's second one (52 days of 91)


def one_key_a_family(tracer: Tracer) -> list[str]:
    """The first key of every family that the review has."""
    first: dict[str, str] = {}
    for key in tracer.output.numbers:
        first.setdefault(tracer.family_of(key)[0].pattern, key)
    assert len(first) > 100
    return list(first.values())


def test_the_text_of_each_family_is_whole_and_names_no_person(sample: Path) -> None:
    with traced.CopiedOutput(sample) as output:
        tracer = Tracer(output)
        ids = {
            str(row[0])
            for row in output.rows("SELECT DISTINCT employee_id FROM raw_hours WHERE employee_id IS NOT NULL")
        }
        assert len(ids) > 300
        for key in one_key_a_family(tracer):
            text = explained(tracer, key)
            assert text.startswith(key)
            assert "HOW IT IS WORKED OUT" in text
            assert not ids & set(re.findall(r"(?<![\d.,])\d{6}(?![\d.,])", text)), key
            assert max(len(line) for line in text.splitlines() if "SELECT" not in line and "=" not in line) < 250, key
            assert not {"nan", "None"} & set(text.split()), key


def test_small_groups_are_not_taken_apart(sample: Path) -> None:
    with traced.CopiedOutput(sample) as output:
        tracer = Tracer(output)
        pooled = [key for key in output.numbers if key.startswith("cases/group:") and "/all%20others" not in key]
        shown = {tuple(key.split("/")[1].split(":")[1:]) for key in pooled if "all%20others" not in key}
        for kind in ("body_part", "job", "nature", "hour"):
            key = f"cases/group:{kind}:all%20others/handling"
            if key not in output.numbers:
                continue
            text = explained(tracer, key)
            small = {
                str(value)
                for value, cases in output.rows(
                    f"SELECT {kind}, count(*) FROM int_case_groups WHERE is_recordable AND is_handling GROUP BY {kind}"
                )
                if cases < 5
            }
            assert small
            for value in small:
                assert (kind, value.replace(" ", "%20")) not in shown
                assert f"'{value}'" not in text
        twice = explained(tracer, "people_twice/repeats/handling")
        people = output.scalar(tracer.own_rows("people_twice/repeats/handling")[0].query())
        assert 0 < people < 5
        assert f"{people} people" not in twice
        assert "fewer than" in twice


def test_a_family_that_nobody_has_described_is_an_error(hand: Path) -> None:
    with Output(hand) as output:
        new = Published("new_family/facility/2025-Q1", 1.0, "cases", "1")
        output.numbers = {**output.numbers, new.key: new}
        with pytest.raises(ReviewProblem, match="no family"):
            Tracer(output).explain(new.key)


def test_fates_are_named_with_their_lines(sample: Path) -> None:
    with traced.CopiedOutput(sample) as output:
        text = explained(Tracer(output), "hours/facility/2025-Q3/handling")
        rows = output.rows(
            "SELECT fate, count(*) FROM stg_hours WHERE fate <> 'used' AND first_day <= DATE '2025-09-30' "
            "AND last_day >= DATE '2025-07-01' GROUP BY fate"
        )
        assert len(rows) >= 2
        for fate, count in rows:
            assert f"hours: {count} rows of this place and time not used ({fate})" in " ".join(text.split())
        everything = explained(Tracer(output), "cases/facility/before/handling")
        assert "30 in all" in everything
        assert "24 months" in everything
        assert "incidents.csv line 119" in everything  # set aside while the file was read


def test_neither_program_file_nor_exports_are_needed_and_nothing_is_written(
    sample: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert not (sample.parent / "sample").exists()
    before = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in sample.rglob("*") if path.is_file()}
    assert main(["trace", str(sample), "rate/facility/2025-Q3/handling"]) == 0
    assert "29 CFR 1904" in capsys.readouterr().out
    after = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in sample.rglob("*") if path.is_file()}
    assert before == after


@pytest.mark.parametrize(
    "key",
    ["rate/facility/2025-Q3/handling", "ratio/facility/staggered/design/handling", "npv/proposal:1/3", "looks"],
)
def test_one_number_takes_less_than_two_seconds_of_work(sample: Path, key: str) -> None:
    with Output(sample) as output:
        asked = key if key in output.numbers else "comparisons/review"
        start = time.process_time()
        explained(Tracer(output), asked)
        assert time.process_time() - start < 2


def test_the_list_shows_keys_with_value_and_unit(sample: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(sample), "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    with (sample / "tables" / "numbers.csv").open(encoding="utf-8", newline="") as stream:
        assert len(lines) == len(list(csv.DictReader(stream)))
    assert main(["trace", str(sample), "--list", "2025-Q3", "hours/UNIT"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines
    assert all("2025-Q3" in line and "hours/unit" in line for line in lines)
    wanted = re.compile(r"hours/unit:\S+/2025-Q3/handling +[\d,]+ +hours")
    assert len([line for line in lines if wanted.fullmatch(line)]) == 7  # one a unit
    assert main(["trace", str(sample), "--list", "no such thing"]) == 2


def test_an_unknown_key_gets_the_nearest_ones(sample: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(sample), "rate/facility/2025-Q3/handlin"]) == 2
    said = capsys.readouterr().err
    assert "no number of this review has this key" in said
    assert "  rate/facility/2025-Q3/handling\n" in said
    assert main(["trace", str(sample)]) == 2
    assert main(["trace", str(sample), "rate/facility/2025-Q3/handling", "--list"]) == 2


def test_a_folder_that_is_no_review_ends_with_a_sentence(
    tmp_path: Path, hand: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    key = "rate/facility/2025-Q1/handling"
    assert main(["trace", str(tmp_path / "nowhere"), key]) == 5
    assert "no such folder" in capsys.readouterr().err
    assert main(["trace", str(tmp_path), key]) == 5
    assert "this is no review" in capsys.readouterr().err
    for change, said in (
        (lambda folder: (folder / "review.duckdb").unlink(), "the database is missing"),
        (lambda folder: (folder / "review.duckdb").write_bytes(b"x" * 9000), "the database cannot be opened"),
        (lambda folder: (folder / "manifest.json").write_text("{", encoding="utf-8"), "cannot be read"),
        (lambda folder: (folder / "manifest.json").write_text("[]", encoding="utf-8"), "not the manifest of a review"),
        (lambda folder: (folder / "tables/numbers.csv").write_text("a,b\n1,2\n", encoding="utf-8"), "cannot be read"),
    ):
        broken = tmp_path / "broken"
        shutil.copytree(hand, broken)
        change(broken)
        assert main(["trace", str(broken), key]) == 5
        err = capsys.readouterr().err
        assert said in err
        assert "Traceback" not in err
        shutil.rmtree(broken)


def test_a_review_of_another_version_says_so(tmp_path: Path, hand: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(hand, tmp_path / "old")
    with duckdb.connect(str(tmp_path / "old" / "review.duckdb")) as database:
        database.execute("DROP VIEW int_hours_parts")
    assert main(["trace", str(tmp_path / "old"), "hours/facility/2025-Q1/handling"]) == 5
    assert "built by another version" in capsys.readouterr().err


def test_hours_by_range_and_cases_one_by_one(hand: Path) -> None:
    with Output(hand) as output:
        tracer = Tracer(output)
        hours = tracer.own_rows("hours/facility/2025-Q1/handling")[0]
        assert hours.lines == RANGES
        text = explained(tracer, "hours/facility/2025-Q1/handling")
        assert "1,080 hours in 4 rows" in text  # 450 + 360 + 90 + 180
        assert "hours.csv lines 2, 4, 6, 8" in text
        assert "incidents.csv lines 2, 3, 4" in explained(tracer, "cases/facility/2025-Q1/handling")
        assert replace(hours, where=("FALSE",)).query().endswith("WHERE FALSE;")
