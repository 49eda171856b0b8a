"""Training dates as learning systems export them: retakes, statuses, courses, expiry. One change a line.

In the hand facility 007 is trained on 2025-03-01 (59 days before, 30 of washout, 1 after in the first quarter, 5 hours
each) and 008 on 2025-04-10 (9 days before, 30 of washout, 52 after in the second quarter, 4 hours each). The mess is
common practice, no source. The numbers in front keep what belongs together in one place.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from spec.mess import H, I, T, Trap, and_file, hold, look, with_column

ALL = 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182  # hours of the hand facility


def more(*rows: str) -> dict[str, str]:
    return {"training": T + "".join(f"{row}\n" for row in rows)}


def courses(*names: str) -> dict[str, str]:
    listed = ", ".join(f'"{name}"' for name in names)
    return {'qualifying_courses = ["Safe handling"]': f"qualifying_courses = [{listed}]"}


STATUS = {
    "79 the same completion exported twice": Trap(
        more("007,Safe handling,2025-03-01,completed"), rows={"training": {"used": 4}}
    ),
    "80 a retake moves nothing: the first pass counts": Trap(
        more("007,Safe handling,2025-06-02,passed"), rows={"training": {"used": 4}}
    ),
    "80 failed, enrolled, waived and incomplete are not training": Trap(
        more(
            "007,Safe handling,2025-01-02,Failed",
            "009,Safe handling,2025-02-02,In Progress",
            "009,Safe handling,2025-02-03,exempt",
            "009,Safe handling,2025-02-04,incomplete",
        ),
        rows={"training": {"used": 3, "not a qualifying status": 4}},
    ),
    "80 enrolled, with no day of completion": Trap(
        more("009,Safe handling,,enrolled"),
        finds=("completed_on: required @ 5",),
        rows={"training": {"used": 3, "completed_on: required": 1}},
    ),
    "95 a score in place of a status: the row waits, the codes are offered": Trap(
        {"training": T.replace("2025-05-10,completed", "2025-05-10,85")},
        finds=("status: enum @ 4",),
        suggests=('[codes.training.status]\n"85" = "?"',),
        rows={"training": {"used": 2, "status: enum": 1}},
    ),
    "95 scores, mapped": Trap(
        {"training": T.replace("2025-05-10,completed", "2025-05-10,85") + "009,Safe handling,2025-06-01,55\n"},
        program='[codes.training.status]\n"85" = "passed"\n"55" = "failed"\n',
        rows={"training": {"used": 3, "not a qualifying status": 1}},
    ),
    "94 training at an earlier employer, credited by the facility": Trap(
        more("009,Safe handling,2025-01-01,Equivalent"),
        program='[codes.training.status]\n"equivalent" = "completed"\n',
        rows={"training": {"used": 4}},
        hours={"washout North 2025-Q1": 150 + 30, "after North 2025-Q1": 5 + 60, "never": 0},
    ),
    "nobody has passed: before and after cannot be compared": Trap(
        {"training": T.replace("completed\n", "failed\n")},
        finds=("no qualifying training @ 0",),
        rows={"training": {"used": 0, "not a qualifying status": 3}},
        hours={"never": ALL - 362, "unknown": 362},
    ),
    "a completion of nobody": Trap(
        more(",Safe handling,2025-03-01,completed"),
        finds=("employee_id: required @ 5",),
        rows={"training": {"used": 3, "employee_id: required": 1}},
    ),
}

COURSES = {
    "81 other dates beside the completion are not read": Trap(
        {"training": with_column(with_column(T, "due_date", "2025-12-31"), "last_accessed", "2025-07-01")},
        finds=("columns not read @ 1",),
        says=("'due_date', 'last_accessed'",),
    ),
    "82 versions of a course: SPH-101, SPH-101-2025": Trap(
        {"training": T.replace("007,Safe handling", "007,SPH-101").replace("008,Safe handling", "008,sph-101-2025")},
        swap=courses("SPH-101*"),
    ),
    "82 a renamed course, both names listed": Trap(
        {"training": T.replace("007,Safe handling", "007,Back care 2")}, swap=courses("Safe handling", "back care 2")
    ),
    "82 a renamed course, nobody said so: the person is not trained": Trap(
        {"training": T.replace("007,Safe handling", "007,Back care 2")},
        rows={"training": {"used": 2, "not a qualifying course": 1}},
        hours={"never": 450 + 455 + 90 + 91},
    ),
    "83 100 a curriculum and a peer leader's class beside the course": Trap(
        more("007,Curriculum: handling,2025-01-05,completed", "009,Peer leader class,2025-01-05,completed"),
        rows={"training": {"used": 3, "not a qualifying course": 2}},
    ),
    "91 two sessions: trained with the second, if that one is listed": Trap(
        {"training": T.replace("007,Safe handling", "007,Session 2") + "007,Session 1,2025-02-01,completed\n"},
        swap=courses("Safe handling", "Session 2"),
        rows={"training": {"used": 3, "not a qualifying course": 1}},
    ),
    "no list of courses: every course counts": Trap(
        more("009,Fire drill,2025-01-01,completed"),
        swap={'qualifying_courses = ["Safe handling"]\n': ""},
        rows={"training": {"used": 4}},
        hours={"never": 0, "washout North 2025-Q1": 150 + 30},
    ),
}

DATES = {
    "32 a completion in the future": Trap(
        more("009,Safe handling,2025-12-31,completed"),
        finds=("completed in the future @ 5",),
        rows={"training": {"used": 3, "completed in the future": 1}},
    ),
    "86 trained years before the review: trained on all of its days": Trap(
        more("009,Safe handling,2019-05-01,completed"),
        rows={"training": {"used": 4}},
        hours={"never": 0, "after North 2025-Q1": 5 + 90, "after North 2025-Q2": 455 + 91},
    ),
    "92 an injury on the day of training belongs to neither side": Trap(
        {"training": T.replace("2025-03-01", "2025-03-20")},
        finds=("trained after an own injury @ 0",),
        hours={"before North 2025-Q1": 78 * 5, "washout 2025-Q1": 12 * 5},
        events={"washout recordable 2025-Q1": 1, "before recordable 2025-Q1": 2, "recordable": 5},
    ),
    "92 139 142 the last day of washout and the first day after it": Trap(
        {
            "incidents": I.replace("2025-03-20", "2025-03-30") + "007,007,2025-03-31,North,days_away,1,0,bathing\n",
        },
        finds=(),
        rows={"incidents": {"used": 7}},
        events={"washout recordable": 1, "after recordable 2025-Q1": 1, "recordable": 6},
    ),
    "93 trained 17 days after the own injury": Trap(
        {"training": T.replace("2025-03-01", "2025-02-01")},
        finds=("trained after an own injury @ 0",),
        says=("1 person was first trained within 30 days after an own injury",),
        hours={"before North 2025-Q1": 31 * 5, "washout 2025-Q1": 30 * 5, "after North 2025-Q1": 29 * 5},
        events={"after recordable 2025-Q1": 1, "recordable": 5},
    ),
    "98 training lapses on its day of expiry: 61 days of 5 hours": Trap(
        {"training": with_column(T, "expires_on", ["2025-05-01", "", ""])},
        hours={"lapsed": 61 * 5, "after North": 5 + 455},
    ),
    "98 two months after the last completion, by the facility's rule": Trap(
        swap={"washout_days = 30": "washout_days = 30\nrefresher_months = 2"}, hours={"lapsed": 61 * 5}
    ),
    "98 a refresher in time leaves no lapse": Trap(
        more("007,Safe handling,2025-04-28,passed"),
        swap={"washout_days = 30": "washout_days = 30\nrefresher_months = 3"},
        rows={"training": {"used": 4}},
        hours={"lapsed": 0},
    ),
    "expires before it is completed": Trap(
        {"training": with_column(T, "expires_on", ["", "", "2025-05-01"])},
        finds=("expires before it is completed @ 4",),
        rows={"training": {"used": 2, "expires before it is completed": 1}},
    ),
    "97 a unit trained as a group: before and after its go-live day": Trap(
        {"units": "unit,program_start\nNorth,2025-04-01\nSouth,\n"},
        swap=and_file("units"),
        hours={"live:before North": 540, "live:after North": 546, "live:none South": 1086},
        events={"live:before North recordable": 2, "live:after North recordable": 1},
    ),
    "90 agency hours have no training: unknown, not untrained": Trap(
        hours={"unknown": 180 + 182, "never": 90 + 91},
    ),
}

TABLES = (STATUS, COURSES, DATES)


@pytest.mark.parametrize("trap", [pytest.param(t, id=n) for table in TABLES for n, t in table.items()])
def test_training(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


def crew(people: range, ends: tuple[str, ...]) -> str:
    return "".join(f"{person},North,2025-{end[:2]}-01,2025-{end},100\n" for person in people for end in ends)


def test_84_85_many_completions_on_one_day_are_told(tmp_path: Path) -> None:
    roster = "".join(f"{person},Safe handling,2025-02-28,completed\n" for person in range(100, 120))
    seen = look(Trap({"hours": H + crew(range(100, 120), ("03-31",)), "training": T + roster}), tmp_path)
    spike = [f for f in seen.findings if f.rule == "many completions on one day"]
    assert [(f.rows, f.found) for f in spike] == [(20, "2025-02-28")]


@pytest.mark.parametrize(("trained_leavers", "told"), [(0, True), (6, False)])
def test_87_a_roster_of_current_staff_only_is_told(trained_leavers: int, told: bool, tmp_path: Path) -> None:
    """Ten people leave after the first quarter, ten stay and are trained."""
    trained = [*range(200, 210), *range(100, 100 + trained_leavers)]
    roster = "".join(f"{person},Safe handling,2025-02-{person % 28 + 1:02d},completed\n" for person in trained)
    hours = H + crew(range(100, 110), ("03-31",)) + crew(range(200, 210), ("03-31", "06-30"))
    seen = look(Trap({"hours": hours, "training": T + roster}), tmp_path)
    assert ("people who left are missing" in {f.rule for f in seen.findings}) is told


@pytest.mark.parametrize(("matched", "told"), [(2, True), (5, False)])
def test_89_a_unit_whose_people_are_not_in_the_roster_is_told(matched: int, told: bool, tmp_path: Path) -> None:
    roster = "".join(f"{person},Safe handling,2025-02-03,completed\n" for person in range(100, 100 + matched))
    change = {
        "hours": H.replace("North", "South") + crew(range(100, 106), ("03-31", "06-30")),
        "incidents": I.replace("North", "South"),
        "training": T + roster,
        "units": "unit,program_start\nNorth,2025-04-01\nSouth,\n",
    }
    seen = look(Trap(change, swap=and_file("units")), tmp_path)
    few = [f for f in seen.findings if f.rule == "few people of the unit are in the training file"]
    assert [f.rows for f in few] == ([6 - matched] if told else [])
    assert all("4 of 6 people of 'North' are not in the training file" in f.message for f in few)
