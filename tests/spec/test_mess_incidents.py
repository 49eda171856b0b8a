"""The injury log as facilities keep it: boxes, versions, strangers, days, privacy. One change a line.

29 CFR 1904 is cited from memory: 1904.7 (outcomes, 180 days), 1904.29 (privacy cases), 1904.31 (whose injuries count),
1904.32 (annual summary). The mess itself is common practice, no source. The numbers in front group it.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from spec.mess import H, I, Trap, and_file, hold, look, with_column

HEAD, *CASES = I.splitlines()


def more(*rows: str) -> dict[str, str]:
    return {"incidents": I + "".join(f"{row}\n" for row in rows)}


def boxes(*ticks: str) -> str:
    """The log with columns G to J in place of the outcome; one group of four a case."""
    rows = [HEAD.replace("outcome", "tick_death,tick_days_away,tick_restricted,tick_other")]
    for case, tick in zip(CASES, ticks, strict=True):
        cells = case.split(",")
        rows.append(",".join([*cells[:4], *tick.split(","), *cells[5:]]))
    return "\n".join(rows) + "\n"


FIRST_AID_GONE = {"first_aid": 0, "recordable": 5}

NUMBERS = {
    "103 numbers restart each January: 001 of 2024 is another case": Trap(
        {
            "hours": H.replace("2025-01-01", "2024-10-01"),
            "incidents": I + "001,009,2024-11-11,North,other_recordable,0,0,bathing\n",
        },
        swap={"start = 2025-01-01": "start = 2024-10-01"},
        rows={"incidents": {"used": 7}},
        events={"recordable": 6, "recordable 2024-Q4": 1},
        hours={"": 2172},
    ),
    "103 one number twice in a year: told, both are counted": Trap(
        more("002,009,2025-04-04,South,other_recordable,0,0,bathing"),
        finds=("case number repeated @ 3",),
        says=("case number '002' stands 2 times in one year; all are counted. Also line 8.",),
        rows={"incidents": {"used": 7}},
        events={"recordable": 6},
    ),
    "104 one event in two rows, one a body part": Trap(
        {"incidents": with_column(I + CASES[0] + "\n", "body_part", ["back", "", "", "", "", "", "knee"])},
        finds=("case number repeated @ 2", "may be the same case twice @ 8"),
        says=("1 pair of cases of one person, on the same day",),
        rows={"incidents": {"used": 7}},
        events={"recordable": 6},
    ),
    "104 133 one person, two numbers, one day: told, not merged": Trap(
        more("I-77,007,2025-01-15,North,days_away,4,0,reposition_in_bed"),
        finds=("may be the same case twice @ 8",),
        rows={"incidents": {"used": 7}},
        events={"recordable": 6},
    ),
    "105 the same back within a year: told, not merged": Trap(
        {"incidents": with_column(I, "body_part", ["low back", "Low back", "", "", "", ""])},
        finds=("may be the same case twice @ 3",),
        says=("1 pair of cases of one person, with the same body part within 365 days",),
    ),
    "106 the latest version counts, by its number and not its place": Trap(
        {
            "incidents": with_column(
                I + "003,008,2025-02-02,South,other_recordable,0,0,stand_pivot\n"
                "003,008,2025-02-02,South,days_away,30,0,stand_pivot\n",
                "version",
                ["", "", "1", "", "", "", "2", "3"],
            )
        },
        rows={"incidents": {"used": 6, "older version": 2}},
        events={"days_away 2025-Q1": 2, "recordable": 5, "dart": 3},
    ),
    "106 lined-out and void rows are left out by rule": Trap(
        {
            "incidents": with_column(
                I + "008,009,2025-04-04,North,days_away,5,0,bathing\n009,009,2025-04-05,North,days_away,5,0,bathing\n",
                "row_status",
                ["active", "", "Open", "closed", "amended", "", "Lined out", "VOID"],
            )
        },
        rows={"incidents": {"used": 6, "struck out": 2}},
    ),
    "113 a December case entered under next year's number: the day of the event counts": Trap(
        more("2025-001,007,2024-12-30,North,days_away,3,0,bathing"),
        rows={"incidents": {"used": 6, "outside the review period": 1}},
    ),
}

OUTCOMES = {
    "107 near misses and first aid stand beside the recordable cases": Trap(
        more("N1,009,2025-04-04,North,Near miss,,,bathing"), rows={"incidents": {"used": 7}}
    ),
    "107 home-grown outcomes, mapped": Trap(
        {"incidents": I.replace("days_away,4", "Lost time,4").replace("first_aid", "FA only")},
        program='[codes.incidents.outcome]\n"lost time" = "days_away"\n"FA only" = "first_aid"\n',
    ),
    "107 an outcome that nobody has explained: the case waits, the codes are offered": Trap(
        {"incidents": I.replace("first_aid", "Report only")},
        finds=("outcome: enum @ 7",),
        suggests=('[codes.incidents.outcome]\n"Report only" = "?"',),
        rows={"incidents": {"used": 5, "outcome: enum": 1}},
        events=FIRST_AID_GONE,
    ),
    "the letters and digits of the form's columns": Trap(
        {
            "incidents": I.replace("days_away,4", "H,4")
            .replace("restricted_or_transfer", "3")
            .replace("days_away,2", "2,2")
        }
    ),
    "108 a claim that was denied is still a case": Trap(
        {"incidents": with_column(I, "row_status", ["denied", "", "", "", "", ""])},
        finds=("row_status: enum @ 2",),
        says=("The value is not used; the row is.",),
    ),
    "109 boxes G to J in place of an outcome": Trap(
        {"incidents": boxes(",X,,", ",,,X", "no,no,yes,no", ",,,1", ",x,,", ",,,")},
        finds=("no outcome @ 7",),
        says=("no box is ticked",),
        rows={"incidents": {"used": 5, "no outcome": 1}},
        events={"first_aid": 0, "recordable": 5, "dart": 3, "days_away": 2},
    ),
    "109 two boxes: the more serious counts, and it is told": Trap(
        {
            "incidents": boxes(",X,,X", ",,,X", ",,X,", ",,,X", ",X,,", ",,,X").replace(
                ",North,,,,X,0,0,bathing", ",North,,,,X,0,0,bathing"
            )
        },
        finds=("more than one box ticked @ 2",),
        says=("2 boxes, counted as days_away",),
        events={"recordable": 6, "days_away": 2, "first_aid": 0},
    ),
    "129 a death is a recordable case and no days-away case": Trap(
        {"incidents": I.replace("days_away,2,0", "death,0,0")},
        events={"recordable": 5, "days_away 2025-Q2": 0, "dart 2025-Q2": 0},
    ),
    "no outcome in the cell": Trap(
        {"incidents": I.replace("first_aid", "")},
        finds=("no outcome @ 7",),
        rows={"incidents": {"used": 5, "no outcome": 1}},
        events=FIRST_AID_GONE,
    ),
    "110 more than 180 days: kept, and told": Trap(
        {"incidents": I.replace("days_away,4,0", "days_away,200,30")},
        finds=("days beyond 180 @ 2",),
        says=("230 days away and restricted together",),
    ),
    "110 111 words in a column of days: the count is dropped, the case is not": Trap(
        {"incidents": I.replace("days_away,4,0", "days_away,180+,0").replace("days_away,2,0", "days_away,ongoing,0")},
        finds=("days_away: type @ 2",),
        says=("found '180+'", "2 values are not used; their rows are. Also line 6."),
    ),
    "110 112 part of a day": Trap(
        {"incidents": I.replace("days_away,4,0", "days_away,4.5,0")}, finds=("days_away: type @ 2",)
    ),
    "outcome and days contradict each other: counted by the outcome": Trap(
        {
            "incidents": I.replace("first_aid,0,0", "first_aid,3,0").replace(
                "restricted_or_transfer,0,3", "restricted_or_transfer,2,3"
            )
        },
        finds=("outcome against days @ 4", "outcome against days @ 7"),
    ),
    "33 reported before it happened": Trap(
        {"incidents": with_column(I, "reported_date", ["2025-01-14", "2025-03-20", "", "", "", ""])},
        finds=("reported before it happened @ 2",),
        says=("reported 1 day before the event",),
    ),
    "124 130 respiratory illness by letter, digit and word": Trap(
        {"incidents": with_column(I, "case_type", ["3", "Respiratory", "1", "injury", "Hearing loss", ""])}
    ),
}

PEOPLE = {
    "114 'Privacy Case' in place of the id: counted for the unit, linked to nobody": Trap(
        {"incidents": I.replace("002,007", "002,Privacy Case")},
        events={"unknown recordable 2025-Q1": 1, "washout recordable": 0, "recordable": 5},
    ),
    "114 a privacy case with its id is not linked either": Trap(
        {"incidents": with_column(I, "privacy_case", ["", "yes", "", "", "", ""])},
        events={"unknown recordable 2025-Q1": 1, "washout recordable": 0, "recordable": 5},
    ),
    "71 115 116 patients, visitors, volunteers and contractors are not staff": Trap(
        {
            "incidents": with_column(
                I + "".join(f"X{n},,2025-04-0{n},North,days_away,5,0,bathing\n" for n in (1, 2, 3, 4)),
                "person_type",
                ["Employee", "staff", "", "temp", "", "", "Resident", "visitor", "Volunteer", "contractor"],
            )
        },
        rows={"incidents": {"used": 6, "not staff": 4}},
    ),
    "71 students, if the facility supervises them": Trap(
        {"incidents": with_column(I, "person_type", ["student", "", "", "", "", ""])},
        program='[incidents]\nperson_types = ["employee", "agency", "student"]\n',
    ),
    "131 136 an injured person without hours: the case counts for its unit": Trap(
        {"incidents": I.replace("001,007", "001,555")},
        finds=("case without hours of its person @ 2",),
        says=("1 cases belong to people without hours",),
        events={"never recordable 2025-Q1": 1, "before recordable 2025-Q1": 1, "recordable": 5},
    ),
    "117 home unit and unit of the event: the mapped column counts, the other is named": Trap(
        {"incidents": with_column(I, "home unit", "South").replace(",unit,", ",Where it happened,", 1)},
        program='[columns.incidents]\nunit = "Where it happened"\n',
        finds=("columns not read @ 1",),
    ),
    "118 a list of body parts is kept as it is": Trap(
        {"incidents": with_column(I, "body_part", ["low back; R shoulder", "", "", "", "", ""])}
    ),
    "132 job titles as anybody writes them": Trap(
        {"incidents": with_column(I, "job_title", ["CNA", "PCT", "Nurse Aide", "", "RN", ""])}
    ),
}

HANDLING = {
    "119 120 neither cause nor activity: undecided, counted, told": Trap(
        {"incidents": I.replace("lateral_transfer", "unknown").replace("toileting", "")},
        finds=("handling undecided @ 3",),
        says=("2 of 5 recordable cases cannot be called handling-related or not",),
        events={"recordable": 5, "handling": 4 - 2, "non_handling": 1},
    ),
    "119 overexertion with a resident is handling, with a box it is not": Trap(
        {
            "incidents": with_column(
                with_column(I.replace("lateral_transfer", "").replace("toileting", ""), "event_type", "overexertion"),
                "source_person",
                ["", "yes", "", "", "no", ""],
            )
        },
        events={"handling": 4 - 1, "non_handling": 2, "recordable": 5},
    ),
    "119 an assault by a resident is not handling": Trap(
        {
            "incidents": with_column(
                with_column(I.replace("toileting", ""), "event_type", "violence"), "source_person", "yes"
            )
        },
        events={"handling": 4 - 1, "non_handling": 2, "recordable": 5},
    ),
    "119 neither column in the log": Trap(
        {"incidents": I.replace(",activity", ",narrative")},
        finds=("handling not recorded @ 1", "columns not read @ 1", "handling undecided @ 2"),
        events={"handling": 0, "non_handling": 0, "recordable": 5},
    ),
    "121 a code outside the list: the value is dropped, and its case is undecided": Trap(
        {"incidents": I.replace("toileting", "A-17")},
        finds=("activity: enum @ 6", "handling undecided @ 6"),
        suggests=('[codes.incidents.activity]\n"A-17" = "?"',),
        events={"handling": 4 - 1, "recordable": 5},
    ),
    "121 a new list of codes, noted in the diary and mapped": Trap(
        {"incidents": I.replace("toileting", "A-17"), "events": "date,unit,what\n2025-05-01,all,New cause codes\n"},
        swap=and_file("events"),
        program='[codes.incidents.activity]\n"a-17" = "toileting"\n',
    ),
    "36 equipment 'none' and a blank are two things": Trap(
        {"incidents": with_column(I, "equipment_in_use", ["None", "", "Gait belt", "floor lift", "n/a", ""])}
    ),
    "a bad weight, helpers and share are dropped, their cases are not": Trap(
        {
            "incidents": with_column(
                with_column(
                    with_column(I, "client_weight_lb", ["9000", "", "", "", "", ""]),
                    "helpers",
                    ["0", "", "", "", "", ""],
                ),
                "assist_share",
                ["120", "", "", "", "", ""],
            )
        },
        finds=("assist_share: maximum @ 2", "client_weight_lb: maximum @ 2", "helpers: minimum @ 2"),
    ),
    "135 a quarter without a case has a row of zeros": Trap(
        {"incidents": "\n".join([HEAD, *CASES[:3]]) + "\n"},
        rows={"incidents": {"used": 3}},
        events={"recordable 2025-Q2": 0, "recordable 2025-Q1": 3},
    ),
}

TABLES = (NUMBERS, OUTCOMES, PEOPLE, HANDLING)


@pytest.mark.parametrize("trap", [pytest.param(t, id=n) for table in TABLES for n, t in table.items()])
def test_the_log(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


def test_122_123_a_narrative_is_never_read(tmp_path: Path) -> None:
    story = with_column(I, "Describe what happened", "Mr Roe of room 12 fell")
    seen = look(Trap({"incidents": story}), tmp_path)
    assert [f.rule for f in seen.findings] == ["columns not read"]
    assert b"Roe" not in seen.database
    assert "Roe" not in "".join(f.sentence() for f in seen.findings)
