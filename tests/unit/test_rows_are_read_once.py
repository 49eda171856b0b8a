"""Hours are the one large file: no step of a build joins their texts to every row, however many checks there are.

Everything stands on rows as numbers and on the tables of ``work``. ``raw_hours`` and ``stg_hours`` join up to seven
tables for each row; they and the views on them are for trace and for people who look into a finished database.
"""

from __future__ import annotations

import re

import pytest

from handling_review import files
from handling_review.intake.checks import AFTER_MEASURE, BEFORE_MEASURE
from handling_review.store.measure import CLEANING, PERSON_TIME, RESULTS, ROWS

FOR_TRACE = {"int_hours_days", "stg_hours", "int_hours_parts", "int_staff_parts"}
STEPS = (*ROWS, *CLEANING, *PERSON_TIME, *RESULTS, *(c.query for c in (*BEFORE_MEASURE, *AFTER_MEASURE)), "find_fates")


def text(name: str) -> str:
    return re.sub("--.*", "", files.read_text("sql", f"{name}.sql"))


@pytest.mark.parametrize("name", sorted(set(STEPS) - FOR_TRACE))
def test_no_other_step_reads_the_rows_as_they_came(name: str) -> None:
    assert not re.search(r"\b(raw_hours|stg_hours|int_hours_days|int_hours_parts|int_staff_parts)\b", text(name))


def test_views_for_trace_do_not_rest_on_what_is_gone_after_the_build() -> None:
    kept = {name for name in STEPS if re.search(r"CREATE VIEW (?!work\.)", text(name))}
    assert kept >= FOR_TRACE
    for name in kept:
        assert "work." not in text(name), name


def test_what_stands_beside_the_database_is_named_so() -> None:
    for name in files.names("sql", ".sql"):
        made = re.search(r"CREATE (?:TABLE|VIEW) (\S+)", text(name.removesuffix(".sql")))
        if name.startswith("work_"):
            assert made, name
            assert made[1] == name.removesuffix(".sql").replace("work_", "work.", 1)
        else:
            assert made is None or not made[1].startswith("work."), name
