"""A facility and its messy twin: after mapping every number is the same, and every row of every file has its place."""

from __future__ import annotations

import csv
import json
import tomllib
from collections import Counter
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from handling_review import cli, review
from handling_review.findings import suggestions
from handling_review.program import Program, read_program
from handling_review.simulate import Plan, simulate, write
from spec.messy_twin import COLUMNS, FORMS, PROGRAM, Twin, write_twin

SAME_TABLES = (
    "out_person_time", "out_quarters", "out_unit_quarters", "out_strata", "out_training_people", "out_unclassified",
    "out_reconciliation", "out_units", "out_exposure", "out_events_diary",
)  # fmt: skip
ABOUT_ROWS = {"rows", "findings", "bytes"}  # numbers that speak of the files
OF_THE_ROSTER = {"first_completions", "match_share", "people_in_training", "qualifying_completions"}  # one more person


def built(program_file: Path, out: Path) -> review.Built:
    program = read_program(program_file)
    assert program.review.as_of is not None
    return review.build(program, program.review.as_of, out)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("clean") / "files"
    write(simulate(Plan(mess=False)), folder)
    text = (folder / "program.toml").read_text(encoding="utf-8")
    assert "fiscal_year_start_month = 1" in text
    text = text.replace("fiscal_year_start_month = 1", "fiscal_year_start_month = 7")
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


def test_the_twin_holds_at_least_60_traps(twin: Twin) -> None:
    assert len(twin.traps) >= 60


@pytest.mark.parametrize("name", SAME_TABLES)
def test_every_cell_of_the_result_tables_is_the_same(name: str, clean: Path, found: review.Built) -> None:
    """Hours to a hundred-thousandth: noise of floating point in the twin's cells moves no more."""
    pure, messy = table(clean / "out", name), table(found.page.parent, name)
    assert len(pure) > 0
    pd.testing.assert_frame_equal(messy, pure, check_exact=False, rtol=0, atol=1e-5)


def test_every_published_number_is_the_same(clean: Path, found: review.Built) -> None:
    """Rates, ratios, intervals, counts: all but those that speak of rows and files, or count the planted stranger."""
    pure, messy = (
        pd.read_csv(out / "tables" / "numbers.csv", index_col="key")["value"]
        for out in (clean / "out", found.page.parent)
    )
    first = pure.index.str.split("/").str[0]
    kept = pure[~first.isin(ABOUT_ROWS | OF_THE_ROSTER)]
    assert len(kept) > 2000
    pd.testing.assert_series_equal(messy[kept.index], kept, check_exact=False, rtol=1e-6, atol=1e-6)
    assert messy["people_in_training/facility"] == pure["people_in_training/facility"] + 1
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
    """Records counted by another reader of the files."""
    records = 0
    for name, encoding, delimiter, above in (("hours_1", "utf-16", "\t", 3), ("hours_2", "cp1252", ";", 0)):
        text = (twin.folder / f"{name}.csv").read_bytes().decode(encoding)
        read = list(csv.reader(text.splitlines(keepends=True), delimiter=delimiter))
        records += (len(read) - above - 1) * (2 if name == "hours_2" else 1)  # it is given twice
    assert accounting(found.page.parent)["hours"].total() == records


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


def with_tables(twin: Twin, tables: str) -> Path:
    path: Path = twin.folder / "partly.toml"
    path.write_text(PROGRAM + tables, encoding="utf-8")
    return path


def test_without_a_mapping_the_headers_are_asked_for(twin: Twin, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(with_tables(twin, ""))]) == 4
    told = capsys.readouterr().err
    for name in ("hours_1.csv, line 4", "hours_2.csv, line 1", "log_1.csv, line 3", "roster_1.csv, line 1"):
        assert f"{name}: no column" in told
    assert "Columns seen" in told


def test_without_forms_the_order_of_dates_is_asked_for(twin: Twin, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(with_tables(twin, COLUMNS))]) == 4
    assert "under [dates]" in capsys.readouterr().err


def test_without_codes_every_code_is_offered_to_paste(twin: Twin) -> None:
    path = with_tables(twin, COLUMNS + FORMS)
    assert cli.main(["check", str(path)]) == 4
    program: Program = read_program(path)
    assert program.review.as_of is not None
    findings = review.check(program, program.review.as_of)
    offered = suggestions(findings)
    tables = tomllib.loads(offered)  # it can be pasted as it is
    assert tables["ids"] == {"zero_pad": 6}
    assert tables["codes"]["training"]["status"] == {"88": "?"}
    assert set(tables["codes"]["incidents"]["outcome"]) == {"First aid only"}
    assert set(tables["codes"]["incidents"]["event_type"]) == {"Strain", "Assault"}
    for code in ("REG", "PTO", "DIFF", "ONCALL"):
        assert f'# "{code}" goes into worked, not_worked or premium_only' in offered
    blocked = {f.rule for f in findings if f.severity == "blocks"}
    assert "unmapped pay code" in blocked
