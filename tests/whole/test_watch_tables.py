"""The tables that are watched from quarter to quarter: by hand on a small facility, by other code on the sample."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Mapping
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest

from handling_review import review
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tasks import gather as gather_tasks
from handling_review.program import read_program
from whole import facility

HEAD = (
    "case_number,employee_id,event_date,event_time,reported_date,unit,job_title,outcome,days_away,days_restricted,activity,"
    "body_part,nature,equipment_in_use,helpers,assist_share,client_weight_lb\n"
)
INCIDENTS = (
    HEAD
    + """\
001,007,2025-01-15,06:30,2025-01-15,North,Aide,days_away,4,0,reposition_in_bed,Low back; knee,cut,none,2,60,180
002,007,2025-03-20,2:05 PM,2025-03-27,North,aide,other_recordable,0,0,lateral_transfer,shoulder,,none,2,80,200
003,008,2025-02-02,00:00,,South,Nurse,restricted_or_transfer,0,3,stand_pivot,,,gait_belt,1,40,150
004,,2025-05-05,12:00 AM,2025-05-06,South,Nurse,other_recordable,0,0,not_handling,eye,cut,,,,
005,008,2025-05-20,1405,2025-05-20,South,Nurse,days_away,60,120,squat_pivot,wrist,,sliding_board,2,50,100
006,007,2025-06-10,23:59,2025-06-10,North,CNA,first_aid,0,0,bathing,hand,,,,,
007,009,2025-06-11,,2025-06-12,North,aide,days_away,45,0,stand_pivot,hand,,none,1,20,160
008,009,2025-06-12,9:15,2025-06-14,North,aide,other_recordable,0,0,two_person_lift,hand,,none,2,70,160
"""
)
EQUIPMENT = """\
unit,equipment,quantity,in_service_on,unit_cost
North,ceiling_lift,1,2025-03-01,7000
North,floor_lift,0,2020-01-01,4000
"""
JOBS = '[jobs]\n"CNA" = "Aide"\n'


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, pd.DataFrame]:
    folder = tmp_path_factory.mktemp("hand")
    text = facility.PROGRAM.replace(
        'training = "training.csv"\n', 'training = "training.csv"\nequipment = "equipment.csv"\n'
    )
    program = facility.write(folder / "files", program=text + JOBS, incidents=INCIDENTS, equipment=EQUIPMENT)
    (folder / "out").mkdir()
    settings = read_program(program)
    return review.measured(settings, date(2025, 7, 31), folder / "out").tables


def test_hours_and_cases_by_month(tables: Mapping[str, pd.DataFrame]) -> None:
    months = tables["months"].set_index(["unit", "month"])
    # North: 450 + 90 hours over 90 days of the first quarter, 455 + 91 over 91 days of the second
    assert months.loc[("North", "2025-01"), "hours"] == pytest.approx(31 * 6.0)
    assert months.loc[("North", "2025-02"), "hours"] == pytest.approx(28 * 6.0)
    assert months.loc[("North", "2025-06"), "hours"] == pytest.approx(30 * 6.0)
    assert months.loc[("North", "2025-06"), "handling"] == 2
    assert months.loc[("South", "2025-05"), ["handling", "recordable", "dart", "days_away"]].tolist() == [1, 2, 1, 1]
    assert months.loc[("North", "2025-04"), "handling"] == 0


def test_days_between_cases_have_no_day_of_a_case(tables: Mapping[str, pd.DataFrame]) -> None:
    waits = tables["waits"]
    assert list(waits.columns) == ["unit", "series", "position", "quarter", "days", "days_since"]
    whole = waits[(waits["unit"] == "") & (waits["series"] == "handling")]
    # 15 Jan, 2 Feb, 20 Mar, 20 May, 11 Jun, 12 Jun; the log is complete through 30 June
    assert whole["days"].fillna(-1).tolist() == [-1, 18, 46, 61, 22, 1]
    assert set(whole["days_since"]) == {18}
    north = waits[(waits["unit"] == "North") & (waits["series"] == "handling")]
    assert north["days"].fillna(-1).tolist() == [-1, 64, 83, 1]
    assert north["quarter"].tolist() == ["2025-Q1", "2025-Q1", "2025-Q2", "2025-Q2"]


def test_technique_load_and_equipment_by_case(tables: Mapping[str, pd.DataFrame]) -> None:
    tasks = tables["tasks"].set_index("activity")
    expected = {
        # not a technique; pulling is no lifting; no suited class on North before March
        "reposition_in_bed": ("not_a_technique", "not_counted", "not_on_unit"),
        # 80 % is in the band; 200 x 0.8 / 2 = 80 lb; a ceiling lift was there from 1 March
        "lateral_transfer": ("in_band", "over_limit", "on_unit_not_in_use"),
        # 50 % is still in the band; a sliding board bears some of the weight, so no load of hands
        "squat_pivot": ("in_band", "not_counted", "in_use"),
        # 70 % has no band; 160 x 0.7 / 2 = 56 lb
        "two_person_lift": ("no_band", "over_limit", "on_unit_not_in_use"),
        # nothing noted of equipment
        "bathing": ("not_a_technique", "not_known", "not_known"),
    }
    for activity, answers in expected.items():
        assert tuple(tasks.loc[activity, ["technique", "load", "suited_equipment"]]) == answers, activity
    pivots = {tuple(row) for row in tasks.loc[["stand_pivot"], ["technique", "load", "suited_equipment"]].to_numpy()}
    # 40 % is outside; 150 x 0.4 = 60 lb; South is not in the equipment file. 20 % is inside; 160 x 0.2 = 32 lb
    assert pivots == {
        ("outside_band", "over_limit", "unit_not_listed"),
        ("in_band", "within_limit", "on_unit_not_in_use"),
    }


def test_jobs_are_one_under_any_spelling_and_time_is_read_by_the_hour(tables: Mapping[str, pd.DataFrame]) -> None:
    groups = tables["case_groups"]
    own = groups.groupby(["kind", "value"])["recordable"].sum()
    assert own["job"].to_dict() == {"aide": 4, "nurse": 3}
    # 06:30, 2:05 PM, midnight in two ways, 1405, none, 9:15
    assert own["hour"].to_dict() == {"04": 1, "08": 1, "12": 2, "not given": 3}
    assert own["body_part"].to_dict() == {
        "low back": 1, "shoulder": 1, "not given": 1, "eye": 1, "wrist": 1, "hand": 2,
    }  # fmt: skip


def test_days_lost_and_cases_that_still_count(tables: Mapping[str, pd.DataFrame]) -> None:
    days = tables["case_days"]
    assert sorted(days.loc[days["days"] > 0, "days"]) == [3, 4, 45, 180]
    # 45 days from 11 June reach 26 July; the export is of 31 July
    assert days.loc[days["is_counting"], "days"].tolist() == [45]


def test_lags_and_the_curve(tables: Mapping[str, pd.DataFrame]) -> None:
    lags = tables["lags"].groupby("lag_days", dropna=False)["recordable"].sum()
    assert {int(k) if pd.notna(k) else None: int(v) for k, v in lags.items()} == {0: 2, 1: 2, 2: 1, 7: 1, None: 1}
    curve = [tuple(row) for row in tables["lag_curve"].to_numpy()]
    assert curve == [(0, 2, 2), (1, 2, 4), (2, 1, 5), (7, 1, 6)]


def test_repeats_are_people_by_their_cases_without_any_of_them(tables: Mapping[str, pd.DataFrame]) -> None:
    found = tables["repeats"]
    assert found[found["kind"] == "seen"][["cases", "people"]].to_numpy().tolist() == [[2.0, 3.0]]
    expected = found[found["kind"] == "expected"]
    # cases with an id: North 4 on 905 + 181 hours, South 2 on 724: as many are expected as there are
    assert (expected["cases"] * expected["people"]).sum() == pytest.approx(6, abs=1e-3)
    assert sorted(expected["cases"]) == pytest.approx(sorted([4 * 905 / 1086, 4 * 181 / 1086, 2]), abs=1e-3)


def test_tenure_counts_from_the_first_hours_where_they_are_seen(tmp_path: Path) -> None:
    hours = facility.HOURS + "010,North,2025-03-01,2025-06-30,122\n"
    incidents = INCIDENTS + "009,010,2025-05-29,,2025-05-29,North,aide,other_recordable,0,0,toileting,,,,,,\n"
    incidents += "010,010,2025-05-30,,2025-05-30,North,aide,other_recordable,0,0,toileting,,,,,,\n"
    program = facility.write(tmp_path / "files", incidents=incidents, hours=hours)
    (tmp_path / "out").mkdir()
    found = review.measured(read_program(program), date(2025, 7, 31), tmp_path / "out").tables
    staff = found["staff_hours"].groupby("tenure")["hours"].sum()
    # one hour a day from 1 March: 90 days to 29 May, then 32
    assert staff["first 3 months"] == pytest.approx(90)
    assert staff["3 to 12 months"] == pytest.approx(32)
    groups = found["case_groups"]
    tenure = groups[groups["kind"] == "tenure"].groupby("value")["recordable"].sum()
    assert tenure["first 3 months"] == 1, "day 90, the 29th of May"
    assert tenure["3 to 12 months"] == 1, "day 91"


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Mapping[str, pd.DataFrame]]:
    from handling_review import starter

    folder = tmp_path_factory.mktemp("sample")
    program = read_program(starter.copy_sample(folder / "sample"))
    (folder / "out").mkdir()
    assert program.review.as_of is not None
    return folder / "sample", review.measured(program, program.review.as_of, folder / "out").tables


def test_months_groups_and_hours_add_up_to_the_quarters(sample: tuple[Path, Mapping[str, pd.DataFrame]]) -> None:
    _, tables = sample
    person = tables["person_time"]
    own = person[person["series"] == "handling"].groupby(["unit", "quarter"])[["events", "hours"]].sum()
    months = tables["months"].groupby(["unit", "quarter"])[["handling", "hours"]].sum()
    assert months["hours"].to_numpy() == pytest.approx(own["hours"].to_numpy(), abs=1e-5)
    assert months["handling"].tolist() == own["events"].tolist()
    by_quarter = person[person["series"] == "handling"].groupby("quarter")["hours"].sum()
    assert tables["staff_hours"].groupby("quarter")["hours"].sum().to_numpy() == pytest.approx(by_quarter.to_numpy())
    cases = person[person["series"] == "recordable"].groupby("quarter")["events"].sum()
    for kind, part in tables["case_groups"].groupby("kind"):
        assert part.groupby("quarter")["recordable"].sum().tolist() == cases[cases > 0].tolist(), kind
    assert tables["case_days"].groupby("quarter")["cases"].sum().tolist() == cases[cases > 0].tolist()
    assert tables["lags"].groupby("quarter")["recordable"].sum().tolist() == cases.tolist()


def test_waits_of_the_sample_are_those_of_a_plain_count(sample: tuple[Path, Mapping[str, pd.DataFrame]]) -> None:
    folder, tables = sample
    with (folder / "incidents.csv").open(encoding="cp1252", errors="replace", newline="") as stream:
        rows = list(csv.DictReader(stream))
    recordable = {"death", "days_away", "restricted_or_transfer", "other_recordable"}
    days = sorted(
        date.fromisoformat(row["event_date"])
        for row in rows
        if row["outcome"] in recordable and "2023-01-01" <= row["event_date"] <= "2026-06-30"
    )
    waits = tables["waits"]
    own = waits[(waits["unit"] == "") & (waits["series"] == "recordable")]
    gaps = [(b - a) // timedelta(days=1) for a, b in pairwise(days)]
    assert own["days"].dropna().astype(int).tolist() == gaps
    quarters = Counter(f"{day.year}-Q{(day.month + 2) // 3}" for day in days)
    assert own["quarter"].value_counts().to_dict() == dict(quarters)


def test_technique_of_the_sample_by_other_code(sample: tuple[Path, Mapping[str, pd.DataFrame]]) -> None:
    folder, tables = sample
    program = read_program(folder / "program.toml")
    complete = tuple(tables["quarters"].loc[tables["quarters"]["is_complete"], "quarter"])
    found = gather_tasks(ResultTables.from_dict(tables), complete, program)
    frame = pd.read_csv(folder / "incidents.csv", encoding="cp1252", dtype={"case_number": str})
    frame = frame[(frame["event_date"] <= "2026-06-30") & (frame["outcome"] != "near_miss")]
    bands = {
        "lateral_transfer": (75, 100),
        "two_person_lift": (75, 100),
        "squat_pivot": (26, 50),
        "stand_pivot": (0, 25),
    }
    own = frame[frame["activity"].isin(list(bands)) & frame["assist_share"].notna()]
    no_band = own["assist_share"].between(51, 74)
    low, high = (own["activity"].map({k: v[i] for k, v in bands.items()}) for i in (0, 1))
    inside = own["assist_share"].between(low, high) & ~no_band
    assert found.of("technique", "in_band").value == int(inside.sum())
    assert found.of("technique", "no_band").value == int(no_band.sum())
    assert found.of("technique", "outside_band").value == int((~inside & ~no_band).sum())
