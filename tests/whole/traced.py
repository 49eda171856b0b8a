"""Reviews built for tests of trace, and a fast way to ask one review thousands of queries."""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb

from handling_review import review
from handling_review.program import read_program
from handling_review.trace.output import DATABASE, Output


def build(program_file: Path, out: Path, *, forget: bool = True) -> Path:
    """Build a review, then take program file and exports away: trace has to do with the output folder alone."""
    program = read_program(program_file)
    assert program.review.as_of is not None
    page = review.build(program, program.review.as_of, out).page
    if forget:
        shutil.rmtree(program_file.parent)
    return page.parent


class CopiedOutput(Output):
    """The same database copied into memory with its views worked out once, so that each query is quick."""

    def _opened(self) -> duckdb.DuckDBPyConnection:
        con = duckdb.connect()
        con.execute("SET enable_progress_bar = false")
        con.execute(f"ATTACH '{self.folder / DATABASE}' AS review (READ_ONLY)")
        con.execute("USE review")
        names = con.execute(
            "SELECT table_name FROM information_schema.tables WHERE table_catalog = 'review' ORDER BY table_name"
        ).fetchall()
        for (name,) in names:
            con.execute(f'CREATE TABLE memory.main."{name}" AS SELECT * FROM "{name}"')
        con.execute("USE memory")
        return con
