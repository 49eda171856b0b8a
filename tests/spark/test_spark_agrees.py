"""Spark and DuckDB add up the same person-time, to the last hundred-millionth of an hour, on random inputs.

Needs Java 17 and the extra ``spark``: `pytest -q -m spark -s tests/spark` (with ``-s`` it prints how many rows it
compared).
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from handling_review import starter
from handling_review.problems import DataProblem, ProgramProblem
from handling_review.program import read_program
from handling_review.review import measured
from handling_review.store.database import Store
from handling_review.store.engine import FILE, DuckDBEngine
from handling_review.store.portable import translate, translated
from handling_review.store.spark import add_up
from property import small_facilities
from property.drawn_facilities import Facility, facilities, write
from spark.conftest import Running

pytestmark = pytest.mark.spark

DRAWN = 4  # seeds of two facilities each: a whole run of the pipeline for each of them
SMALL = (2, 3, 4, 5)  # numbers of small whole facilities
TABLES = 3  # random inputs of the stage alone, of thousands of rows each
COUNTED = "SELECT person, cell_no, kind_no, hours_e8 FROM work.person_time ORDER BY ALL"
KINDS = "SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = 'person_time' ORDER BY column_index"


class Both:
    """Builds person-time with Spark, then with DuckDB, and holds each row against its twin."""

    label = ""

    def __init__(self, running: Running) -> None:
        self._running = running
        self.compared = self.different = self.negative = 0

    def build_person_time(self, store: Store) -> None:
        spark, folder = self._running.spark, self._running.folder / "one"
        folder.mkdir(mode=0o700)
        try:
            add_up(spark, translated(FILE), store, folder)
        finally:
            shutil.rmtree(folder)
        theirs, kinds = store.fetch(COUNTED), store.fetch(KINDS)
        store.execute("DROP TABLE work.person_time")
        DuckDBEngine().build_person_time(store)
        ours = store.fetch(COUNTED)
        assert kinds == store.fetch(KINDS)
        self.compared += len(ours)
        self.negative += sum(hours < 0 for *_, hours in ours)
        self.different += len(set(ours) ^ set(theirs)) + abs(len(ours) - len(theirs))


def told(both: Both, what: str) -> None:
    print(f"\n{what}: {both.compared:,} rows compared, {both.negative:,} of them below nought, {both.different} differ")
    assert both.different == 0


def random_inputs(store: Store, number: int) -> None:
    """The three inputs at random: corrections, periods of every length, people without an id, hours of no use."""
    random = np.random.Generator(np.random.PCG64([47, number]))
    rows, slots, people = 20_000, 300, 400
    first = np.array([date(2023, 1, 1).toordinal() + int(d) for d in random.integers(0, 700, slots)])
    lengths = random.choice([1, 1, 7, 14, 28, 31, 92, 400], slots)
    quarters = [date(y, m, 1).toordinal() for y in (2023, 2024, 2025, 2026) for m in (1, 4, 7, 10)]
    parts, stretches = [], []
    for slot in range(slots):
        begin, end = int(first[slot]), int(first[slot] + lengths[slot] - 1)
        for number_of, start in enumerate(quarters[:-1], start=1):
            low, high = max(begin, start), min(end, quarters[number_of] - 1)
            if low <= high:
                cell = int(random.integers(1, 60))
                parts.append((slot, number_of, _day(begin), int(lengths[slot]), _day(low), _day(high), cell))
    for person in range(people):
        for number_of, start in enumerate(quarters[:-1], start=1):
            cuts = sorted({start, *(int(c) for c in random.integers(start, quarters[number_of], 2))})
            for low, high in zip(cuts, [*(c - 1 for c in cuts[1:]), quarters[number_of] - 1], strict=True):
                stretches.append((person, number_of, int(random.integers(1, 12)), _day(low), _day(high)))
    amounts = random.choice([0.0001, -0.0001, 8, -8, 7.75, 33.3333, 12345.6789, -12345.6789, 1e6, -99999.9999], rows)
    fates = random.choice(["used", "used", "used", "not worked", "negative total"], rows)
    hours = zip(
        random.integers(0, people + 5, rows).tolist(),
        random.integers(0, slots + 5, rows).tolist(),
        (Decimal(f"{hours:.4f}") for hours in amounts),
        fates.tolist(),
        strict=True,
    )
    fill(store, "slot_parts", PART, parts)
    fill(store, "stretches", STRETCH, stretches)
    fill(store, "fated_hours", FATED, list(hours))


FATED = ("person", "slot", "hours", "fate")
PART = ("slot", "quarter_no", "first_day", "days", "from_day", "to_day", "cell_no")
STRETCH = ("person", "quarter_no", "kind_no", "from_day", "to_day")


KIND = {"hours": "DECIMAL(18, 4)", "fate": "VARCHAR", "days": "BIGINT"}


def fill(store: Store, table: str, names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    declared = (f"{name} {KIND.get(name, 'DATE' if name.endswith('_day') else 'INTEGER')}" for name in names)
    store.execute(f"CREATE TABLE work.{table} ({', '.join(declared)})")
    columns = dict(zip(names, zip(*rows, strict=True), strict=True))
    store.append(table, pa.table({name: list(column) for name, column in columns.items()}).to_reader(), "work")


def _day(ordinal: int) -> date:
    return date.fromordinal(ordinal)


def test_both_add_up_random_rows_to_the_same_sums(running: Running, tmp_path: Path) -> None:
    both = Both(running)
    for number in range(TABLES):
        with Store(tmp_path / f"{number}.duckdb", tmp_path / "spill") as store:
            random_inputs(store, number)
            both.build_person_time(store)
    told(both, "random rows")
    assert both.compared > 20_000 * TABLES / 2
    assert both.negative > 1_000


def test_both_agree_on_drawn_facilities(running: Running) -> None:
    both = Both(running)

    def run(facility: Facility) -> None:
        with tempfile.TemporaryDirectory() as folder:
            program = read_program(write(facility, Path(folder)))
            try:
                measured(program, facility.program.as_of, Path(folder), engine=both)
            except DataProblem:
                return

    fresh = settings(
        max_examples=2, database=None, deadline=None, phases=(Phase.generate,), suppress_health_check=list(HealthCheck)
    )
    for number in range(DRAWN):
        seed(2000 + number)(fresh(given(facilities())(run)))()
    told(both, "drawn facilities")
    assert both.compared > 10 * DRAWN


def test_both_agree_on_small_whole_facilities(running: Running, tmp_path: Path) -> None:
    both = Both(running)
    for number in SMALL:
        small = small_facilities.draw(1, number)
        program = read_program(small.write(tmp_path / str(number)))
        (tmp_path / f"{number}-out").mkdir()
        measured(program, small.as_of, tmp_path / f"{number}-out", engine=both)
    told(both, "small whole facilities")
    assert both.compared > 100


def test_every_result_table_of_the_sample_is_the_same(running: Running, tmp_path: Path) -> None:
    class Spark:
        label = "spark"

        def build_person_time(self, store: Store) -> None:
            (running.folder / "sample").mkdir()
            add_up(running.spark, translated(FILE), store, running.folder / "sample")
            shutil.rmtree(running.folder / "sample")

    program = read_program(starter.copy_sample(tmp_path / "files"))
    assert program.review.as_of is not None
    found = []
    for one in (DuckDBEngine(), Spark()):
        (tmp_path / type(one).__name__).mkdir()
        found.append(measured(program, program.review.as_of, tmp_path / type(one).__name__, engine=one).tables)
    ours, theirs = found
    assert ours.keys() == theirs.keys()
    differ = [name for name, frame in ours.items() if not frame.equals(theirs[name])]
    rows = sum(len(frame) for frame in ours.values())
    print(f"\nsample facility: {len(ours)} result tables, {rows:,} rows compared, tables that differ: {len(differ)}")
    assert not differ
    assert rows > 5_000


def test_spark_knows_every_function_of_the_translated_file(running: Running) -> None:
    known = {row[0].upper() for row in running.spark.sql("SHOW SYSTEM FUNCTIONS").collect()}
    assert len(known) > 300
    used = set(re.findall(r"([A-Za-z_]+)\(", translated(FILE).query))
    assert used
    assert used - known == set()


def test_a_query_that_spark_reads_otherwise_ends_in_a_sentence(
    running: Running, tmp_path: Path, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    """Date minus date is a number of days in DuckDB and an interval in Spark; it reaches Spark as it stands."""
    unlike = {
        "SELECT p.slot AS person, p.cell_no, p.quarter_no AS kind_no, p.to_day - p.from_day AS hours_e8 "
        "FROM work.slot_parts AS p": "gives work_person_time.sql other columns than DuckDB",
        "SELECT p.slot AS person, p.cell_no, p.quarter_no AS kind_no, p.days * (p.to_day - p.from_day + 1) AS hours_e8 "
        "FROM work.slot_parts AS p": "Spark could not add up person-time (AnalysisException, DATATYPE_MISMATCH",
        "SELECT p.slot AS person, p.cell_no, p.quarter_no AS kind_no, p.days * 9223372036854775807 AS hours_e8 "
        "FROM work.slot_parts AS p": "ArithmeticException",
    }
    with Store(tmp_path / "one.duckdb", tmp_path / "spill") as store:
        random_inputs(store, 0)
        for number, (query, said) in enumerate(unlike.items()):
            folder = running.folder / f"unlike-{number}"
            folder.mkdir()
            with pytest.raises(ProgramProblem) as problem:
                add_up(running.spark, translate(f"CREATE TABLE work.x AS {query}", "sql/x.sql"), store, folder)
            assert said in str(problem.value)
            assert 'set engine = "duckdb"' in str(problem.value)
            assert len(str(problem.value).splitlines()) == 1
    assert capfd.readouterr() == ("", "")
    assert not caplog.records


def test_a_local_spark_works_in_private_and_listens_here_alone(running: Running) -> None:
    from pyspark import SparkContext

    assert running.folder.stat().st_mode & 0o777 == 0o700
    java = SparkContext._gateway.proc.pid
    held = [os.readlink(one) for one in Path(f"/proc/{java}/fd").iterdir() if one.is_symlink()]
    sockets = {name[8:-1] for name in held if name.startswith("socket:[")}
    listening = []
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/{java}/net/{table}").read_text(encoding="ascii").splitlines()[1:]:
            _, local, remote, state, *rest = line.split()
            if rest[5] in sockets:
                here = ("0100007F", "0000000000000000FFFF00000100007F")  # 127.0.0.1, as the system writes it
                assert local.split(":")[0] in here, line
                listening.append(local) if state == "0A" else None
                assert state == "0A" or remote.split(":")[0] in here, line
    assert listening
    assert (running.folder / "messages").read_bytes().count(b"\n") < 20
    said = (running.folder / "messages").read_text(encoding="utf-8")
    assert "person" not in said
