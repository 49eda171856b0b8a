"""Restated numbers and their reasons, each history made by hand: every count can be read off the changed lines."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pandas as pd
import pytest

from handling_review import review
from handling_review.cli import main
from handling_review.program import read_program
from whole import facility
from whole.histories import (
    FIRST,
    LATE_CASE,
    LATE_HOURS,
    SECOND,
    THIRD,
    build,
    front,
    moved,
    reasons,
    restated,
)


def program(**changed: str) -> str:
    text = facility.PROGRAM
    for old, new in changed.items():
        text = text.replace(old, new)
    return text


def test_the_first_review_says_that_it_is_the_first(tmp_path: Path) -> None:
    out = build(tmp_path, FIRST)
    assert "first review that is kept here" in front(out)
    assert restated(out).empty
    assert json.loads((out / "manifest.json").read_text())["last_review"] is None


def test_the_same_rows_again_restate_nothing(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    out = build(tmp_path, SECOND)
    assert "none of the" in front(out)
    assert restated(out).empty
    told = json.loads((out / "manifest.json").read_text())["last_review"]
    assert told == {"run_id": json.loads((first / "manifest.json").read_text())["run_id"], "as_of": str(FIRST)}


def test_a_late_case_is_counted_where_it_counts(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, incidents=facility.INCIDENTS + LATE_CASE)
    for key, then in (
        ("cases/facility/2025-Q2/handling", 1),
        ("cases/facility/2025-Q2/recordable", 2),
        ("cases/unit:North/2025-Q2/days_away", 1),
        ("cases/facility/2025/recordable", 5),
    ):
        assert moved(out, key) == (then, then + 1), key
        assert reasons(out, key) == {"late_cases": (1, 0)}, key
    assert reasons(out, "rate/facility/2025-Q2/handling") == {"late_cases": (1, 0)}
    keys = set(restated(out)["key"])
    assert not [key for key in keys if "Q1" in key]
    assert not [key for key in keys if "unit:South" in key]
    assert "1 case entered in the log since" in front(out)
    assert "2025-Q2: 1 then, 2 now" in front(out)


def test_a_case_struck_from_the_log_is_withdrawn(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    out = build(
        tmp_path,
        SECOND,
        incidents=facility.INCIDENTS.replace("004,,2025-05-05,South,other_recordable,0,0,not_handling\n", ""),
    )
    assert moved(out, "cases/facility/2025-Q2/recordable") == (2, 1)
    assert reasons(out, "cases/facility/2025-Q2/recordable") == {"withdrawn_cases": (1, 0)}
    assert reasons(out, "cases/unit:South/2025-Q2/recordable") == {"withdrawn_cases": (1, 0)}


@pytest.mark.parametrize(
    ("old", "new", "kind", "then", "now"),
    [
        ("South,restricted_or_transfer,0,3,stand", "South,other_recordable,0,0,stand", "changed_outcome",
         {"cases/facility/2025-Q1/dart": 2}, {"cases/facility/2025-Q1/dart": 1}),
        ("2025-03-20,North,other_recordable,0,0,lateral_transfer", "2025-03-20,North,other_recordable,0,0,not_handling",
         "changed_handling", {"cases/facility/2025-Q1/handling": 3}, {"cases/facility/2025-Q1/handling": 2}),
        ("003,008,2025-02-02,South", "003,008,2025-02-02,North", "changed_unit",
         {"cases/unit:South/2025-Q1/recordable": 1, "cases/unit:North/2025-Q1/recordable": 2},
         {"cases/unit:South/2025-Q1/recordable": 0, "cases/unit:North/2025-Q1/recordable": 3}),
        ("002,007,2025-03-20", "002,007,2025-04-20", "changed_date",
         {"cases/facility/2025-Q1/handling": 3, "cases/facility/2025-Q2/handling": 1},
         {"cases/facility/2025-Q1/handling": 2, "cases/facility/2025-Q2/handling": 2}),
    ],
)  # fmt: skip
def test_a_changed_case_is_named_by_what_changed(
    tmp_path: Path, old: str, new: str, kind: str, then: dict[str, int], now: dict[str, int]
) -> None:
    assert old in facility.INCIDENTS
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, incidents=facility.INCIDENTS.replace(old, new))
    for key in then:
        assert moved(out, key) == (then[key], now[key]), key
        assert reasons(out, key) == {kind: (1, 0)}, key


def test_rows_in_another_order_are_the_same_rows(tmp_path: Path) -> None:
    head, *rows = facility.INCIDENTS.splitlines(keepends=True)
    hours_head, *hours = facility.HOURS.splitlines(keepends=True)
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, incidents="".join([head, *rows[::-1]]), hours="".join([hours_head, *hours[::-1]]))
    assert restated(out).empty


def test_late_corrected_and_withdrawn_hours_each_bring_their_own(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    hours = facility.HOURS.replace("009,North,2025-04-01,2025-06-30,91", "009,North,2025-04-01,2025-06-30,100")
    hours = hours.replace(",South,2025-04-01,2025-06-30,182\n", "") + LATE_HOURS
    out = build(tmp_path, SECOND, hours=hours)
    known = {"late_hours": (0, 70.5), "corrected_hours": (0, 9), "withdrawn_hours": (0, -182)}
    assert reasons(out, "hours/facility/2025-Q2") == known
    assert moved(out, "hours/facility/2025-Q2") == (1092, 1092 + 70.5 + 9 - 182)
    assert reasons(out, "hours/unit:North/2025-Q2") == {"corrected_hours": (0, 9)}
    assert reasons(out, "hours/unit:South/2025-Q2") == {"late_hours": (0, 70.5), "withdrawn_hours": (0, -182)}
    assert reasons(out, "rate/facility/2025-Q2/recordable") == known
    assert "+70.5 hours entered since" in front(out)


def test_late_hours_over_a_quarters_end_are_split(tmp_path: Path) -> None:
    """40 hours over 31 March to 3 April: a quarter of them in the first quarter."""
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, hours=facility.HOURS + "010,South,2025-03-31,2025-04-03,40\n")
    assert reasons(out, "hours/facility/2025-Q1") == {"late_hours": (0, 10)}
    assert reasons(out, "hours/unit:South/2025-Q2") == {"late_hours": (0, 30)}


def test_a_late_completion_moves_hours_by_training_and_nothing_else(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, training=facility.TRAINING + "009,Safe handling,2025-06-30,completed\n")
    rows = restated(out)
    assert set(rows["reason"]) == {"late_training"}
    assert (rows["rows"] == 1).all()
    assert moved(out, "hours/unit:North/2025-Q1/never") == (90, 0)
    assert moved(out, "hours/unit:North/2025-Q1/before")[1] - moved(out, "hours/unit:North/2025-Q1/before")[0] == 90
    assert not [key for key in rows["key"] if key.startswith(("cases/", "rate"))]
    assert "no number of cases, hours or rates of a finished period has changed" in front(out)


def test_a_changed_setting_is_named_with_both_values(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, program=program(**{"washout_days = 30": "washout_days = 60"}))
    rows = restated(out)
    assert set(rows["reason"]) == {"setting"}
    # 007 from 1 March: washout is 30 days of 5 hours in March, 31 days with 60 of washout (1 to 31 March)
    assert moved(out, "hours/unit:North/2025-Q1/washout") == (5 * 30, 5 * 31)
    assert "training.washout_days was 30 and is 60" in front(out)


def test_changed_unit_names_move_cases_and_hours_that_are_the_same_rows(tmp_path: Path) -> None:
    """A third spelling of South in one row is taken for North later: 1 case, 180 hours in each quarter."""
    hours = facility.HOURS.replace(",South,2025-01-01,2025-03-31,180", ",Wing,2025-01-01,2025-03-31,180")
    hours = hours.replace(",South,2025-04-01,2025-06-30,182", ",Wing,2025-04-01,2025-06-30,182")
    incidents = facility.INCIDENTS.replace("003,008,2025-02-02,South", "003,008,2025-02-02,Wing")
    named = facility.PROGRAM + '[units.aliases]\n"Wing" = "{}"\n'
    build(tmp_path, FIRST, hours=hours, incidents=incidents, program=named.format("South"))
    out = build(tmp_path, SECOND, hours=hours, incidents=incidents, program=named.format("North"))
    assert moved(out, "hours/unit:North/2025-Q1") == (540, 540 + 180)
    assert reasons(out, "hours/unit:North/2025-Q1") == {"unit_map": (0, 180)}
    assert reasons(out, "hours/unit:South/2025-Q2") == {"unit_map": (0, -182)}
    assert reasons(out, "cases/unit:South/2025-Q1/recordable") == {"unit_map": (1, 0)}
    assert reasons(out, "cases/unit:North/2025-Q1/dart") == {"unit_map": (1, 0)}
    assert not [key for key in restated(out)["key"] if "/facility/" in key]


def test_changed_pay_codes_and_changed_code_maps_are_told_from_changed_rows(tmp_path: Path) -> None:
    hours = facility.HOURS.replace("hours\n", "hours,pay_code\n").replace("0,450\n", "0,450,REG\n")
    lines = [line if line.count(",") == 5 else f"{line},REG" for line in hours.splitlines()]
    coded = "\n".join(lines).replace("91,REG", "91,EDU") + "\n"
    incidents = facility.INCIDENTS.replace("other_recordable", "OTH")
    codes = '[codes.incidents.outcome]\n"OTH" = "{}"\n'
    pay = "[pay_codes]\nworked = [{}]\nnot_worked = [{}]\n"
    then = facility.PROGRAM + codes.format("other_recordable") + pay.format('"REG", "EDU"', '"PTO"')
    now = facility.PROGRAM + codes.format("first_aid") + pay.format('"REG"', '"PTO", "EDU"')
    build(tmp_path, FIRST, hours=coded, incidents=incidents, program=then)
    out = build(tmp_path, SECOND, hours=coded, incidents=incidents, program=now)
    assert reasons(out, "hours/facility/2025-Q2") == {"pay_codes": (0, -91)}
    assert moved(out, "cases/facility/2025-Q2/recordable") == (2, 1)
    assert reasons(out, "cases/facility/2025-Q2/recordable") == {"mapping": (1, 0)}
    assert reasons(out, "cases/facility/2025-Q1/recordable") == {"mapping": (1, 0)}


def test_whose_injuries_count_is_a_setting(tmp_path: Path) -> None:
    incidents = facility.INCIDENTS.replace("activity\n", "activity,person_type\n")
    incidents = "\n".join(
        line if "person_type" in line else f"{line},{'agency' if line.startswith('004') else 'employee'}"
        for line in incidents.splitlines()
    ) + "\n"  # fmt: skip
    build(tmp_path, FIRST, incidents=incidents)
    only = facility.PROGRAM + '[incidents]\nperson_types = ["employee"]\n'
    out = build(tmp_path, SECOND, incidents=incidents, program=only)
    assert reasons(out, "cases/facility/2025-Q2/recordable") == {"setting": (1, 0)}
    assert "incidents.person_types was employee; agency and is employee" in front(out)


def test_three_reviews_compare_each_with_the_one_before(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    build(tmp_path, SECOND, incidents=facility.INCIDENTS + LATE_CASE)
    out = build(tmp_path, THIRD, incidents=facility.INCIDENTS + LATE_CASE, hours=facility.HOURS + LATE_HOURS)
    assert str(SECOND) in front(out)
    rows = restated(out)
    assert "late_cases" not in set(rows["reason"])
    assert reasons(out, "hours/facility/2025-Q2") == {"late_hours": (0, 70.5)}
    with_first = build(
        tmp_path / "else", THIRD, since=tmp_path / f"review-{FIRST}",
        incidents=facility.INCIDENTS + LATE_CASE, hours=facility.HOURS + LATE_HOURS,
    )  # fmt: skip
    assert reasons(with_first, "cases/facility/2025-Q2/handling") == {"late_cases": (1, 0)}


def test_a_new_quarter_is_no_restatement(tmp_path: Path) -> None:
    third = "007,North,2025-07-01,2025-09-30,460\n008,South,2025-07-01,2025-09-30,368\n"
    third += "009,North,2025-07-01,2025-09-30,92\n,South,2025-07-01,2025-09-30,184\n"
    longer = facility.PROGRAM.replace("2025-06-30", "2025-09-30").replace("2025-07-31", "2025-10-31")
    build(tmp_path, FIRST)
    out = build(
        tmp_path, THIRD, program=longer, hours=facility.HOURS + third,
        incidents=facility.INCIDENTS + "007,009,2025-08-20,North,days_away,3,0,toileting\n",
    )  # fmt: skip
    assert restated(out).empty
    assert "none of the" in front(out)


def test_another_fiscal_year_cannot_be_compared(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    shifted = facility.PROGRAM.replace("as_of", "fiscal_year_start_month = 2\nas_of")
    out = build(tmp_path, SECOND, program=shifted)
    assert "cannot be set beside these" in front(out)
    assert restated(out).empty


def test_another_start_and_another_unit_list_are_said(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    later = facility.PROGRAM.replace("start = 2025-01-01", "start = 2025-04-01")
    out = build(tmp_path, SECOND, program=later, hours=facility.HOURS + "011,West,2025-04-01,2025-06-30,50\n")
    assert "began on 2025-01-01 then and begins on 2025-04-01" in front(out)
    assert "West new" in front(out)
    assert not [key for key in restated(out)["key"] if "West" in key]
    assert reasons(out, "hours/facility/2025-Q2") == {"late_hours": (0, 50)}


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda out: (out / "review.duckdb").write_bytes(b"no database"), "has a damaged database"),
        (lambda out: (out / "review.duckdb").unlink(), "has a damaged database"),
        (lambda out: _newer(out), "was written by a newer version"),
        (lambda out: _without_history(out), "was built by a version that kept no history"),
    ],
)
def test_an_earlier_review_that_cannot_be_read_is_said_and_the_build_goes_on(
    tmp_path: Path, spoil: object, said: str
) -> None:
    first = build(tmp_path, FIRST)
    assert callable(spoil)
    spoil(first)
    out = build(tmp_path, SECOND)
    assert f"review-{FIRST} {said}" in (out / "findings.csv").read_text()
    assert "first review that is kept here" in front(out)


def _newer(out: Path) -> None:
    import duckdb

    with duckdb.connect(str(out / "review.duckdb")) as con:
        con.execute("UPDATE history_reviews SET format = 99")


def _without_history(out: Path) -> None:
    import duckdb

    with duckdb.connect(str(out / "review.duckdb")) as con:
        con.execute("DROP TABLE history_reviews")


def test_damaged_rows_leave_the_numbers_to_compare(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    for path in (first / "snapshots").glob("incidents-rows-*"):
        path.write_bytes(b"PAR1")
    out = build(tmp_path, SECOND, incidents=facility.INCIDENTS + LATE_CASE)
    assert "are not whole" in (out / "findings.csv").read_text()
    assert moved(out, "cases/facility/2025-Q2/handling") == (1, 2)
    assert reasons(out, "cases/facility/2025-Q2/handling") == {"rows_gone": (0, 0)}


def test_a_review_of_another_facility_is_left_alone(tmp_path: Path) -> None:
    build(tmp_path, FIRST, program=facility.PROGRAM.replace("Hand check", "Somewhere else"))
    out = build(tmp_path, SECOND)
    assert "first review" in front(out)
    named = build(tmp_path / "named", SECOND, since=tmp_path / f"review-{FIRST}")
    assert "is a review of another facility" in (named / "findings.csv").read_text()


def test_since_must_name_a_review(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written = facility.write(tmp_path / "exports")
    assert main(["build", str(written), "--out", str(tmp_path / "out"), "--since", str(tmp_path)]) == 2
    assert "there is no review in this folder" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_builds_of_one_day_with_the_same_past_are_the_same_to_the_byte(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    changed = {"incidents": facility.INCIDENTS + LATE_CASE, "hours": facility.HOURS + LATE_HOURS}
    out = build(tmp_path, SECOND, **changed)
    once = bytes_of(out)
    assert bytes_of(build(tmp_path, SECOND, **changed)) == once
    elsewhere = build(tmp_path / "else", SECOND, since=tmp_path / f"review-{FIRST}", **changed)
    assert bytes_of(elsewhere) == once


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_reasons_add_up_to_every_difference_of_cases_and_hours(tmp_path: Path) -> None:
    """Late, changed and withdrawn together: what the reasons bring in hours is the difference, to the rounding."""
    build(tmp_path, FIRST)
    hours = facility.HOURS.replace("009,North,2025-04-01,2025-06-30,91", "009,North,2025-04-01,2025-06-30,100")
    out = build(tmp_path, SECOND, incidents=facility.INCIDENTS + LATE_CASE, hours=hours + LATE_HOURS)
    rows = restated(out)
    hourly = rows[(rows["what"] == "hours") & rows["kind"].isna()]
    assert len(hourly) > 3
    for _, group in hourly.groupby("key"):
        assert group["hours_worked"].sum() == pytest.approx(group["difference"].iloc[0])


def test_no_day_or_id_of_a_case_gets_into_the_table(tmp_path: Path) -> None:
    """The late case's person and day stand in no file but those that their owner alone can read."""
    build(tmp_path, FIRST)
    late = LATE_CASE.replace("009", "planted-4711").replace("2025-06-20", "2025-06-21")
    out = build(tmp_path, SECOND, incidents=facility.INCIDENTS + late)
    assert reasons(out, "cases/facility/2025-Q2/handling") == {"late_cases": (1, 0)}
    for path in sorted(out.rglob("*")):
        if path.is_file() and path.suffix not in (".duckdb", ".parquet"):
            assert b"planted-4711" not in path.read_bytes(), path.name
            assert b"2025-06-21" not in path.read_bytes(), path.name


def test_numbers_of_the_block_stand_in_the_list_of_numbers(tmp_path: Path) -> None:
    build(tmp_path, FIRST)
    out = build(tmp_path, SECOND, incidents=facility.INCIDENTS + LATE_CASE)
    listed = set(pd.read_csv(out / "tables" / "numbers.csv")["key"])
    page = (out / "program-review.html").read_text(encoding="utf-8")
    keys = set(re.findall(r'data-key="(restated[^"]*)"', page))
    assert len(keys) > 10
    assert keys <= listed


def test_a_later_review_in_the_folder_does_not_count_as_the_last(tmp_path: Path) -> None:
    later = build(tmp_path, THIRD)
    program_file = facility.write(tmp_path / "exports")
    review.build(read_program(program_file), FIRST, later)
    assert "first review" in front(later)
