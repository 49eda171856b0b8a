"""What adds up person-time, behind one method: DuckDB, or an engine that shares the rows out over many machines.

Everything before builds small tables or reads the files, which stand on this machine; everything after reads
``work.person_time``. So this one step, which joins every row of hours to its stretches of days, is the one to hand on.
"""

from __future__ import annotations

from typing import Protocol

from handling_review.program import Program
from handling_review.store.database import Store

FILE = "work_person_time"


class Engine(Protocol):
    """What can build ``work.person_time`` from ``work.fated_hours``, ``work.slot_parts`` and ``work.stretches``.

    ``label``: its name and version, as the manifest says them; blank for DuckDB, whose version stands there anyway.
    """

    @property
    def label(self) -> str:
        """Name and version; blank for DuckDB."""

    def build_person_time(self, store: Store) -> None:
        """Create ``work.person_time`` in the store, the same rows whatever the engine.

        Raises ``ProgramProblem`` where the engine that the program file asks for cannot do it.
        """


class DuckDBEngine:
    """The store adds up itself."""

    label = ""

    def build_person_time(self, store: Store) -> None:
        """Run the SQL file in the store."""
        store.run(FILE)


def engine_of(program: Program) -> Engine:
    """The engine that a program file asks for.

    Raises ``ProgramProblem`` where it is not installed or cannot be reached.
    """
    if program.store.engine == "duckdb":
        return DuckDBEngine()
    from handling_review.store.spark import SparkEngine  # an optional extra: loaded only when asked for

    return SparkEngine(program.store.master)
