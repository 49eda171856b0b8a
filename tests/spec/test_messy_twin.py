"""A facility and its messy twin: after mapping every number is the same, and every row of every file has its place."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections import Counter
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from handling_review import cli, review
from handling_review.findings import suggestions
from handling_review.intake.rules import CROSS_RULES
from handling_review.program import Program, read_program
from handling_review.simulate import simulate, write
from spec.messy_twin import PLAN, write_twin
from spec.messy_twin_base import Twin
from spec.messy_twin_program import COLUMNS, FORMS, PROGRAM
from spec.messy_twin_traps import FILES, READ, TRAPS

SAME_TABLES = (
    "out_person_time", "out_quarters", "out_unit_quarters", "out_strata", "out_training_people", "out_unclassified",
    "out_reconciliation", "out_units", "out_exposure", "out_events_diary",
)  # fmt: skip
ABOUT_ROWS = {"rows", "findings", "bytes", "rows_set_aside"}  # numbers that speak of the files
BOUNDS = {f"ratio_{end}{limit}" for end in ("best", "worst") for limit in ("", "_lower", "_upper")}  # by rows set aside
OF_THE_ROSTER = {
    "classes",
    "first_completions",
    "match_share",
    "people_in_training",
    "qualifying_completions",
}  # one more person


def built(program_file: Path, out: Path) -> review.Built:
    program = read_program(program_file)
    assert program.review.as_of is not None
    return review.build(program, program.review.as_of, out)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("clean") / "files"
    write(simulate(PLAN), folder)
    text = (folder / "program.toml").read_text(encoding="utf-8")
    for old, new in (
        ("fiscal_year_start_month = 1", "fiscal_year_start_month = 7"),
        ("_months = 24", "_months = 6"),
        ("wage_per_hour", "# wage_per_hour"),  # the twin's retakes are classes too, and would cost
    ):
        assert old in text
        text = text.replace(old, new)  # so that training lapses within the eight quarters
    (folder / "program.toml").write_text(text, encoding="utf-8")
    built(folder / "program.toml", folder.parent / "out")
    return folder.parent


@pytest.fixture(scope="module")
def twin(clean: Path, tmp_path_factory: pytest.TempPathFactory) -> Twin:
    return write_twin(clean / "files", tmp_path_factory.mktemp("twin") / "files")


@pytest.fixture(scope="module")
def found(twin: Twin) -> review.Built:
    return built(twin.folder / "program.toml", twin.folder.parent / "out")


def accounting(out: Path) -> dict[str, Counter[str]]:
    counts: dict[str, Counter[str]] = {}
    for line in json.loads((out / "manifest.json").read_text(encoding="utf-8"))["row_accounting"]:
        counts.setdefault(line["file"], Counter())[line["rule"]] = line["rows"]
    return counts


def table(out: Path, name: str) -> pd.DataFrame:
    with duckdb.connect(str(out / "review.duckdb"), read_only=True) as database:
        return database.execute(f"SELECT * FROM {name}").df()


def text_of(twin: Twin, file: str) -> str:
    return (twin.folder / f"{file}.csv").read_bytes().decode(FILES[file][1])


def test_every_trap_is_in_its_file(twin: Twin) -> None:
    missing = []
    for trap in TRAPS:
        if isinstance(trap.sign, bytes):
            found = re.search(trap.sign, (twin.folder / f"{trap.file}.csv").read_bytes()) is not None
        else:
            found = re.search(trap.sign, text_of(twin, trap.file)) is not None
        if not found:
            missing.append(f"{trap.file}: {trap.name}")
    assert missing == []
    assert len({(trap.file, trap.name) for trap in TRAPS}) == len(TRAPS) >= 60


def test_every_rule_has_its_trap(twin: Twin) -> None:
    """What the traps say becomes of their rows is what the row accounting is held against, and nothing else is."""
    told = {(FILES[trap.file][0], trap.becomes) for trap in TRAPS if trap.becomes != READ}
    planted = {(file, rule) for file, rules in twin.rows.items() for rule in rules if rule != "used"}
    assert told - planted == set()
    assert planted - told == set()


def test_the_same_clean_files_give_the_same_twin(clean: Path, twin: Twin, tmp_path: Path) -> None:
    again = write_twin(clean / "files", tmp_path / "again")
    for path in sorted(twin.folder.glob("*.csv")):
        assert path.read_bytes() == (again.folder / path.name).read_bytes()


@pytest.mark.parametrize("name", SAME_TABLES)
def test_every_cell_of_the_result_tables_is_the_same(name: str, clean: Path, found: review.Built) -> None:
    """Events, dates and words to the letter; hours to a millionth."""
    pure, messy = table(clean / "out", name), table(found.page.parent, name)
    assert len(pure) > 0
    counts = [column for column in pure if not pd.api.types.is_float_dtype(pure[column])]
    pd.testing.assert_frame_equal(messy[counts], pure[counts], check_exact=True)
    pd.testing.assert_frame_equal(messy, pure, check_exact=False, rtol=0, atol=1e-6)


def test_rates_by_quarter_are_cases_over_hours_of_both(clean: Path, found: review.Built) -> None:
    """Cases x 200,000 / hours (29 CFR 1904), from the person-time of each."""
    for rates in zip(*(quarter_rates(out) for out in (clean / "out", found.page.parent)), strict=True):
        assert rates[1] == pytest.approx(rates[0], rel=1e-9)


def quarter_rates(out: Path) -> list[float]:
    cells = table(out, "out_person_time")
    one = cells[cells["series"] == "recordable"].groupby("quarter")[["events", "hours"]].sum()
    assert len(one) == 8
    assert one["events"].sum() > 100
    return [events * 200_000 / hours for events, hours in zip(one["events"], one["hours"], strict=True)]


def test_training_lapses_in_the_twin(found: review.Built) -> None:
    """Or the comparison would say nothing of lapsed hours."""
    cells = table(found.page.parent, "out_person_time")
    assert cells[cells["lapsed"]]["hours"].sum() > 1000
    assert {"before", "washout", "after", "never", "unknown"} <= set(cells["phase"])


def test_every_published_number_is_the_same(clean: Path, found: review.Built) -> None:
    """Rates, ratios, intervals, counts: all but those that speak of rows and files, or count the planted stranger."""
    pure, messy = (
        pd.read_csv(out / "tables" / "numbers.csv", index_col="key")["value"]
        for out in (clean / "out", found.page.parent)
    )
    first = pure.index.str.split("/").str[0]
    kept = pure[~first.isin(ABOUT_ROWS | OF_THE_ROSTER | BOUNDS)]
    assert len(kept) > 1000
    pd.testing.assert_series_equal(messy[kept.index], kept, check_exact=False, rtol=1e-6, atol=1e-6)
    assert messy["people_in_training/facility"] == pure["people_in_training/facility"] + 1
    assert messy["classes/facility"] == pure["classes/facility"] + 3 + 1, "retakes and the stranger, no copy"
    assert messy["qualifying_completions/facility"] == pure["qualifying_completions/facility"] + 2 + 3 + 1


def test_every_published_table_is_the_same(clean: Path, found: review.Built) -> None:
    compared = 0
    for path in sorted((clean / "out" / "tables").glob("*.csv")):
        if path.stem not in ("numbers", "row_accounting"):
            messy, pure = pd.read_csv(found.page.parent / "tables" / path.name), pd.read_csv(path)
            pd.testing.assert_frame_equal(messy, pure, check_exact=False, rtol=1e-6, atol=1e-6)
            compared += len(pure) > 0
    assert compared >= 10


def test_every_row_is_accounted_for(clean: Path, twin: Twin, found: review.Built) -> None:
    """Each rule has the clean file's rows and those that were planted, no more and no fewer."""
    pure, messy = accounting(clean / "out"), accounting(found.page.parent)
    for file, planted in twin.rows.items():
        assert messy[file] == pure[file] + planted, file
    for file in pure.keys() - twin.rows.keys():
        assert messy[file] == pure[file], file


def test_rows_in_are_the_records_of_the_files(twin: Twin, found: review.Built) -> None:
    """Each row is used, set aside or excluded once. Records counted by another reader of the files."""
    records: Counter[str] = Counter()
    for file, (kind, _, above, delimiter) in FILES.items():
        read = list(csv.reader(io.StringIO(text_of(twin, file), newline=""), delimiter=delimiter))
        records[kind] += len(read) - above - 1
    told = accounting(found.page.parent)
    assert {file: rules.total() for file, rules in told.items()} == dict(records)


def test_rows_set_aside_are_few_and_named(twin: Twin, found: review.Built) -> None:
    """The clean files have none; the twin's are those that were planted."""
    aside = {
        (file, rule): rows
        for file, rules in accounting(found.page.parent).items()
        for rule, rows in rules.items()
        if rule not in CROSS_RULES or CROSS_RULES[rule].kind == "set_aside"
    }
    twice = aside.pop(("hours", "period loaded twice"))
    assert twice == text_of(twin, "hours_1").count("\t4/13/2024\t") / 2
    assert aside == {
        ("hours", "hours: required"): 1,
        ("hours", "hours: type"): 1,
        ("hours", "negative total"): 1,
        ("hours", "no date"): 1,
        ("hours", "period reversed"): 1,
        ("hours", "unit: required"): 1,
        ("incidents", "after the exports were taken"): 1,
        ("incidents", "event_date: type"): 1,
        ("incidents", "no outcome"): 1,
        ("incidents", "row: cells"): 1,
        ("incidents", "unit: required"): 1,
        ("training", "completed in the future"): 1,
        ("training", "completed_on: required"): 1,
        ("training", "employee_id: required"): 1,
        ("training", "expires before it is completed"): 1,
    }


def test_nothing_blocks_and_the_totals_agree(found: review.Built) -> None:
    assert not [f for f in found.findings if f.severity == "blocks"]
    totals = [f for f in found.findings if f.rule == "totals row" and f.file == "hours_1.csv"]
    assert len(totals) > 3
    assert all("as they should" in f.message for f in totals)


def test_no_name_and_no_id_is_told(found: review.Built) -> None:
    told = "".join(f.sentence() + f.found for f in found.findings)
    assert "Surname" not in told
    assert "ouch" not in told
    assert b"Surname" not in (found.page.parent / "review.duckdb").read_bytes()


def test_no_cell_is_run_by_a_spreadsheet_or_a_browser(found: review.Built) -> None:
    out = found.page.parent
    for path in [out / "findings.csv", *sorted((out / "tables").glob("*.csv"))]:
        for row in csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")):
            assert not [cell for cell in row if cell[:1] in ("=", "+", "@")], path.name
    assert "<b>Lifts</b>" not in found.page.read_text(encoding="utf-8")


def with_tables(twin: Twin, tables: str) -> Path:
    path: Path = twin.folder / "partly.toml"
    path.write_text(PROGRAM + tables, encoding="utf-8")
    return path


BARE = PROGRAM[PROGRAM.index("[files]") : PROGRAM.index("[training]")]


@pytest.mark.parametrize("program", [PROGRAM, BARE])
def test_without_a_mapping_the_headers_are_asked_for(
    twin: Twin, program: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = twin.folder / "bare.toml"
    path.write_text(program, encoding="utf-8")
    assert cli.main(["check", str(path)]) == 4
    told = capsys.readouterr().err
    for name in ("hours_1.csv, line 4", "hours_2.csv, line 1", "log_1.csv, line 3", "roster_1.csv, line 1"):
        assert f"{name}: no column" in told
    assert "Columns seen" in told
    assert "Traceback" not in told
    for file in ("incidents", "training"):
        found = re.search(rf"add (.+) under \[columns\.{file}\]", told)
        assert found is not None
        for line in found[1].split(" and "):
            assert tomllib.loads(line)  # it can be pasted as it is


def test_without_forms_the_order_of_dates_is_asked_for(twin: Twin, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(with_tables(twin, COLUMNS))]) == 4
    assert "under [dates]" in capsys.readouterr().err


def test_without_codes_every_code_is_offered_to_paste(twin: Twin, capsys: pytest.CaptureFixture[str]) -> None:
    path = with_tables(twin, COLUMNS + FORMS)
    assert cli.main(["check", str(path)]) == 4
    assert "fill in and paste into the program file" in capsys.readouterr().out
    program: Program = read_program(path)
    assert program.review.as_of is not None
    findings = review.check(program, program.review.as_of)
    offered = suggestions(findings)
    tables = tomllib.loads(offered)  # it can be pasted as it is
    assert tables["ids"] == {"zero_pad": 6}
    assert tables["codes"]["training"]["status"] == {"88": "?"}
    assert set(tables["codes"]["incidents"]["outcome"]) == {"First aid only"}
    assert set(tables["codes"]["incidents"]["event_type"]) == {"Strain", "Assault"}
    assert set(tables["codes"]["incidents"]["row_status"]) == {"Claim denied"}
    for code in ("REG", "PTO", "DIFF", "ONCALL"):
        assert f'# "{code}" goes into worked, not_worked or premium_only' in offered
    blocked = {f.rule for f in findings if f.severity == "blocks"}
    assert "unmapped pay code" in blocked
