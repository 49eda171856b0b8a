"""Whose training is due: counts from hand-written files, and the finding that tells of them."""

from __future__ import annotations

from collections import Counter as Tally
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from handling_review import review
from handling_review.evidence import export_training, training_due
from handling_review.evidence.numbers import published
from handling_review.evidence.training_due import DueEvidence
from handling_review.page import training_due as page
from handling_review.page.numbered import Counter
from handling_review.program import Program, Training, read_program
from handling_review.settings import Thresholds
from handling_review.store.database import Store
from whole import due_facility

AS_OF = date(2025, 7, 31)
Cells = dict[tuple[str, str, str], int]


def table(folder: Path, as_of: date = AS_OF, **changed: str | bytes) -> pd.DataFrame:
    """The result table of the hand facility."""
    program = due_facility.write(folder / "files", **changed)
    return review.measured(read_program(program), as_of, folder).tables["training_due"]


def cells(folder: Path, as_of: date = AS_OF, **changed: str | bytes) -> Cells:
    """The result table of the hand facility: (unit, state, month) to people."""
    frame = table(folder, as_of, **changed)
    return {
        (str(unit), str(state), str(month)): int(people)
        for unit, state, month, people in frame.itertuples(index=False, name=None)
    }


def test_the_table_counts_each_person_of_the_hand_facility_once(tmp_path: Path) -> None:
    expected = Tally(
        (unit, state, due[:7] if state == "due" else "") for unit, state, _, due in due_facility.PEOPLE.values()
    )
    assert cells(tmp_path) == dict(expected)


def test_the_counts_by_hand(tmp_path: Path) -> None:
    assert cells(tmp_path) == {
        ("East", "comparison_unit", ""): 1 + 1,  # 111, 112
        ("North", "due", "2025-09"): 1,  # 103
        ("North", "never_trained", ""): 1 + 1 + 1,  # 101, 107, 109
        ("North", "overdue", ""): 1,  # 102
        ("South", "due", "2025-08"): 1,  # 106
        ("South", "due", "2025-11"): 1,  # 110
        ("South", "due", "2026-03"): 1,  # 104
        ("South", "never_trained", ""): 1 + 1 + 1,  # 116, 117, 118
        ("South", "overdue", ""): 1,  # 105
    }


def test_a_day_earlier_training_of_that_day_has_not_lapsed_yet(tmp_path: Path) -> None:
    found = cells(tmp_path, date(2025, 7, 30))
    assert found["South", "due", "2025-07"] == 1  # 105
    assert ("South", "overdue", "") not in found


def test_without_a_refresher_rule_training_lapses_only_where_a_day_of_expiry_is_given(tmp_path: Path) -> None:
    found = cells(tmp_path, program=due_facility.PROGRAM.replace("refresher_months = 12\n", ""))
    states: Tally[str] = Tally()
    for (_, state, month), people in found.items():
        states[f"{state} {month}".strip()] += people
    # 103 expires in September; 102, 104, 105, 106 and 110 hold a completion without a day of expiry
    assert states == {"current_no_end": 5, "due 2025-09": 1, "never_trained": 6, "comparison_unit": 2}


def test_where_the_training_file_knows_too_few_nobody_is_called_untrained(tmp_path: Path) -> None:
    strangers = "".join(f"9{n:02d},Safe handling,2025-01-01,completed,\n" for n in range(40))
    found = cells(tmp_path, training=due_facility.TRAINING + strangers)
    assert found["North", "unknown", ""] == 3
    assert found["South", "unknown", ""] == 3
    assert not [key for key in found if key[1] == "never_trained"]
    assert found["North", "overdue", ""] == 1  # whoever has a row is known


def test_hours_without_ids_are_nobody(tmp_path: Path) -> None:
    header = due_facility.HOURS.splitlines()[0]
    hours = "".join(f",{unit},2025-01-01,2025-06-30,900\n" for unit in ("North", "South", "East"))
    frame = table(tmp_path, hours=f"{header}\n{hours}")
    assert frame.empty
    nobody = training_due.gather(frame, {}, AS_OF, Program(path=Path("program.toml")))
    assert (nobody.people.value, nobody.units) == (0, ())
    finding = page.finding(nobody, Counter())
    assert (finding.picture, finding.tables, finding.folded) == (None, (), ())


def test_the_sixty_days_end_with_the_hours_where_these_stop_early(tmp_path: Path) -> None:
    """108 worked on 1 May, 31 days before the last day with hours, 31 May; 101 worked in June only."""
    lines = [line for line in due_facility.HOURS.splitlines() if ",2025-06-" not in line and ",2025-07-" not in line]
    found = cells(tmp_path, hours="\n".join(lines) + "\n")
    assert found["North", "overdue", ""] == 1  # 108: trained on 5 January 2024
    assert sum(found.values()) == 1 + 1 + 1 + 1  # 107 (South now), 108, 109, 110


def test_training_lapses_on_the_day_on_which_person_time_calls_it_lapsed(tmp_path: Path) -> None:
    """The same rule in two places: the first lapsed day after all that is current, from int_training_intervals."""
    program = read_program(due_facility.write(tmp_path / "files"))
    review.measured(program, AS_OF, tmp_path)
    with Store(tmp_path / "review.duckdb", tmp_path / "spill") as store:
        due = {row["employee_id"]: row["due_on"] for row in store.rows("list_training_due") if row["due_on"]}
        spans = store.frame("int_training_intervals")
    last_current = spans[~spans["lapsed"]].groupby("employee_id")["to_day"].max()
    assert len(due) == 7
    for person, day in due.items():
        assert pd.Timestamp(day) - pd.Timestamp(last_current[person]) == pd.Timedelta(days=1), person


TABLE = """
unit state           due_month people
A    overdue         -         4
A    never_trained   -         1
A    due             2025-12   2
A    due             2026-01   3
A    due             2026-03   5
A    due             2026-04   7
A    due             2026-12   11
A    due             2027-01   13
B    never_trained   -         2
B    unknown         -         6
B    current_no_end  -         8
C    comparison_unit -         9
"""
NAMES = {"A": "zeta", "B": "Eta", "C": "theta"}


def gathered(table: str = TABLE, as_of: date = date(2025, 12, 15), months: int | None = 24) -> DueEvidence:
    header, *lines = (line.split() for line in table.strip().splitlines())
    frame = pd.DataFrame(lines, columns=header)
    frame["due_month"] = frame["due_month"].replace("-", "")
    frame["people"] = frame["people"].astype(int)
    program = Program(path=Path("program.toml"), training=Training(refresher_months=months), thresholds=Thresholds())
    return training_due.gather(frame, NAMES, as_of, program)


def test_months_run_from_the_month_of_the_exports_over_the_twelve_after_it() -> None:
    months = {item.month: item.people.value for item in gathered().months}
    assert list(months) == [
        *("2025-12", "2026-01", "2026-02", "2026-03", "2026-04", "2026-05", "2026-06"),
        *("2026-07", "2026-08", "2026-09", "2026-10", "2026-11", "2026-12", "later"),
    ]
    assert {m: n for m, n in months.items() if n} == {
        **{"2025-12": 2, "2026-01": 3, "2026-03": 5, "2026-04": 7, "2026-12": 11, "later": 13}
    }


def test_soon_is_the_rest_of_this_month_and_the_three_after_it() -> None:
    found = gathered()
    assert found.soon_through == "2026-03"
    assert found.soon.value == 2 + 3 + 5
    assert found.due.value == 2 + 3 + 5 + 7 + 11 + 13


def test_the_parts_add_up_to_the_people() -> None:
    found = gathered()
    assert found.people.value == 4 + 1 + 41 + 2 + 6 + 8 + 9
    assert found.asked.value == 62
    parts = (found.overdue, found.never_trained, found.due, found.current_no_end, found.unknown)
    assert sum(part.value or 0 for part in parts) == 62
    for unit in found.units:
        own = (unit.overdue, unit.never_trained, unit.soon, unit.later, unit.current_no_end, unit.unknown)
        assert sum(part.value or 0 for part in own) == (0 if unit.is_comparison else unit.people.value)


def test_units_stand_by_name_and_a_comparison_unit_is_marked() -> None:
    found = gathered()
    assert [(unit.name, unit.is_comparison) for unit in found.units] == [
        ("Eta", False),
        ("theta", True),
        ("zeta", False),
    ]
    assert [unit.people.value for unit in found.units] == [16, 9, 46]


def test_small_counts_stay_as_they_are() -> None:
    assert gathered().units[2].never_trained.shown == "1"


def test_every_number_has_a_key_of_its_own() -> None:
    found = published(gathered())
    assert len({number.key for number in found}) == len(found) == 8 + 14 + 3 * 7 + 1 + 1  # and the refresher interval
    assert {"people_due/facility/2026-04", "people_due/facility/later", "people_due/unit:A/soon"} <= {
        number.key for number in found
    }


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        (["employee_id", "unit", "state", "due_month", "people"], "nothing else"),
        (["unit", "state", "people"], "nothing else"),
    ],
)
def test_a_table_with_other_columns_is_refused(columns: list[str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        training_due.gather(pd.DataFrame(columns=columns), {}, AS_OF, Program(path=Path("program.toml")))


def test_a_state_that_nobody_knows_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown state late"):
        gathered(TABLE.replace("overdue        ", "late           "))


def test_the_flat_table_holds_each_unit_and_the_facility() -> None:
    rows = list(export_training.due_rows(gathered(), "95"))
    assert {tuple(row) for row in rows} == {export_training.DUE_COLUMNS}
    whole = [row for row in rows if not row["unit"]]
    assert sum(row["people"] for row in whole) == 71
    assert sum(row["people"] for row in rows if row["unit"]) == 71
    assert [row["people"] for row in rows if row["state"] == "due_soon" and row["unit"] == "A"] == [10]
    assert [(row["state"], row["people"]) for row in rows if row["unit"] == "C"] == [("comparison_unit", 9)]


def test_the_sentences_say_how_many() -> None:
    finding = page.finding(gathered(), Counter())
    assert [sentence.text for sentence in finding.says] == [
        "On 2025-12-15, of 62 people with hours in the last 60 days of the hours file, 4 had training that had lapsed "
        "and 3 had no qualifying training on record. For 10 more it lapses by the end of March 2026.",
        "For 6 it is not known: the training file knows too few of the staff to call the others untrained. "
        "9 people of comparison units are left out: the program is not for them yet.",
    ]
    assert finding.title == "Refreshers due"
    assert any("handling-review worklist" in sentence.text for sentence in finding.how)


def test_no_count_of_a_comparison_unit_but_its_people_is_printed() -> None:
    table = page.units_table(gathered())
    assert table is not None
    (row,) = (row for row in table.rows if "comparison" in str(row[0]))
    assert [str(cell) for cell in row] == ["theta (comparison unit)", "9", "", "", "", "", "", ""]
    assert len(table.columns) == len(row)


def test_the_picture_draws_what_the_table_says() -> None:
    found = gathered()
    picture, table = page.picture(found), page.months_table(found)
    assert picture is not None
    assert table is not None
    lapsed, ahead = (trace["y"] for trace in picture.figure["data"])
    assert lapsed == [4]
    assert ahead == [2, 3, 0, 5, 7, 0, 0, 0, 0, 0, 0, 0, 11]
    shown = {str(row[0]): row[1].value for row in table.rows if hasattr(row[1], "value")}
    assert list(shown.values()) == [*lapsed, *ahead, 13, 8]
    assert (shown["Overdue"], shown["December 2026"], shown["Later"]) == (4, 11, 13)
    ticks = picture.narrow["xaxis.ticktext"]
    assert ticks[1:4] == ["D", "J<br>2026", "F"]  # two years side by side would run into each other
    assert picture.figure["layout"]["xaxis"]["ticktext"][1:3] == ["Dec<br>2025", "Jan<br>2026"]


def test_where_no_training_lapses_there_is_no_picture_and_it_is_said() -> None:
    found = gathered("unit state due_month people\nA current_no_end - 5\nA never_trained - 1", months=None)
    finding = page.finding(found, Counter())
    assert (finding.picture, finding.folded) == (None, ())
    assert finding.says[0].text == (
        "On 2025-12-15, of 6 people with hours in the last 60 days of the hours file, 1 had no qualifying training on "
        "record. By the files as they are, no training lapses."
    )
    assert any("states no refresher rule" in sentence.text for sentence in finding.how)


def test_where_nobody_can_be_counted_it_is_said() -> None:
    finding = page.finding(gathered("unit state due_month people\nC comparison_unit - 1"), Counter())
    assert finding.says[0].text.startswith(
        "In the last 60 days of the hours file nobody with an employee number worked outside"
    )
    assert finding.says[1].text.startswith("1 person of a comparison unit is left out")
