"""Files as exported: encodings, delimiters, titles, totals, footers, damage. One change to the hand facility a line.

The mess is of the kind that payroll, safety and learning systems export (common practice, no source), save where a line
names its source. The numbers in front keep what belongs together in one place.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pyarrow.csv as pa_csv
import pyarrow.parquet as pq
import pytest

from handling_review import review
from spec.mess import H, I, T, Trap, and_file, files_list, hold, look, with_column

ALL = 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182  # hours of the hand facility
HEADER = "employee_id,unit,period_start,period_end,hours\n"
CROSSWALK = '[codes.training.employee_id]\n"a7" = "007"\n"a8" = "008"\n'
Q1, Q2 = ("".join(line for line in H.splitlines(True)[1:] if f"2025-{start}" in line) for start in ("01-01", "04-01"))

SIGNS = with_column(I, "%", "1").replace("case_number", "#")

ENCODINGS = {
    "1 a byte order mark is glued to the first header": Trap({"hours": ("\ufeff" + H).encode("utf-8")}),
    "2 one byte of Windows-1252 in UTF-8 text": Trap(
        {"incidents": with_column(I, "job_title", "Nurse\u2019s aide").encode("cp1252")},
        finds=("bytes outside UTF-8 @ 2",),
        says=("6 bytes are not UTF-8 and read as Windows-1252 text",),
    ),
    "2 the unit's name in Windows-1252 here and in UTF-8 there is one name": Trap(
        {
            "hours": H.replace("North", "Café").encode("cp1252"),
            "incidents": I.replace("North", "Café"),
        },
        finds=("bytes outside UTF-8 @ 2",),
        hours={"Café": 450 + 455 + 90 + 91, "South": 360 + 364 + 180 + 182},
        events={"Café recordable": 3, "South recordable": 2},
    ),
    "3 UTF-16 with tabs, as a spreadsheet saves 'Unicode text'": Trap(
        {"hours": b"\xff\xfe" + H.replace(",", "\t").encode("utf-16-le")}
    ),
    "3 UTF-16, other byte order": Trap({"hours": b"\xfe\xff" + H.encode("utf-16-be")}),
    "3 UTF-16 without its mark is full of NUL bytes": Trap(
        {"hours": H.encode("utf-16-le")}, refused=("hours.csv, line 1: a NUL byte",)
    ),
    "8 columns that are called by a sign, and their header once more below": Trap(
        {"incidents": SIGNS + SIGNS.splitlines(True)[0]},
        program="[columns.incidents]\ncase_number = '#'\n",
        finds=("columns not read @ 1",),
        says=("columns not read: '%'",),
        rows={"incidents": {"repeated header": 1, "used": 6}},
    ),
    "23 a NUL byte": Trap({"hours": H.replace("364", "36\0")}, refused=("hours.csv, line 5: a NUL byte",)),
    "a byte that is no text in any encoding": Trap(
        {"hours": H.encode() + b"\x8d,South,2025-04-01,2025-06-30,1\n"}, refused=("hours.csv, line 10", "0x8D")
    ),
    "21 a spreadsheet with the ending .csv": Trap(
        {"hours": b"PK\x03\x04" + bytes(100)}, refused=("hours.csv: this is a spreadsheet", "save it as CSV")
    ),
    "21 an old spreadsheet with the ending .csv": Trap(
        {"hours": b"\xd0\xcf\x11\xe0" + bytes(100)}, refused=("hours.csv: this is an old spreadsheet",)
    ),
    "13 line ends of Windows": Trap({"hours": H.replace("\n", "\r\n")}),
    "13 line ends of old machines": Trap({"hours": H.replace("\n", "\r")}),
    "13 line ends of two kinds in one file": Trap({"hours": HEADER + Q1.replace("\n", "\r\n") + Q2}),
    "13 no line end behind the last row": Trap({"hours": H.rstrip("\n")}),
}


def parquet(text: str) -> bytes:
    out = io.BytesIO()
    pq.write_table(pa_csv.read_csv(io.BytesIO(text.encode("utf-8"))), out)
    return out.getvalue()


PARQUET = {
    "Parquet in place of text": Trap(
        {"training": parquet(T.replace("007", "a7").replace("008", "a8"))}, program=CROSSWALK
    ),
    "Parquet whose column name is no text": Trap(
        {"training": parquet(T).replace(b"course", b"cours\xfb")},
        refused=("training.csv: starts like Parquet but cannot be read",),
    ),
    "Parquet with a cell that is no text": Trap(
        {"training": parquet(T).replace(b"Safe handling", b"Safe h\xacndling")},
        refused=("training.csv, column course: holds bytes that are no text in UTF-8",),
    ),
    "Parquet cut off": Trap(
        {"training": parquet(T)[:-20]}, refused=("training.csv: starts like Parquet but cannot be read",)
    ),
}

DELIMITERS = {
    "4 semicolons": Trap({"hours": H.replace(",", ";")}),
    "4 tabs": Trap({"training": T.replace(",", "\t")}),
    "4 vertical bars": Trap({"incidents": I.replace(",", "|")}),
    "4 semicolons, with commas inside a name": Trap(
        {
            "hours": H.replace(",", ";").replace("North", "North, 2nd floor"),
            "incidents": I.replace("North", '"North, 2nd floor"'),
        },
        hours={"North,": 1086},
        events={"North, recordable": 3},
    ),
    "4 a line that names the delimiter to a spreadsheet": Trap({"hours": "sep=;\n" + H.replace(",", ";")}),
    "14 a comma in a name without quotation marks: the row has a cell too many": Trap(
        {"incidents": with_column(I, "body_part", ["low back, left", "", "", "", "", ""])},
        finds=("row: cells @ 2",),
        says=("found '10 cells under 9 headers'",),
        rows={"incidents": {"used": 5, "row: cells": 1}},
        events={"North recordable 2025-Q1": 1, "recordable": 4},
    ),
    "14 an inner quotation mark that nobody doubled": Trap(
        {"incidents": with_column(I, "body_part", ['said "ouch" twice', "", "", "", "", ""])}
    ),
    "14 a quotation mark that opens and never closes would swallow five cases": Trap(
        {"incidents": with_column(I, "body_part", ['"low back,', "", "", "", "", ""])},
        refused=("incidents.csv, line 2: a quotation mark opens here and does not close in its row",),
    ),
    "14 a quotation mark left open in the middle of a row": Trap(
        {"incidents": I.replace("North,other", '"North,other')},
        refused=("incidents.csv, line 3: a quotation mark opens here and never closes",),
    ),
    "14 a quotation mark left open that the next one closes, a row further down": Trap(
        {"incidents": with_column(I, "body_part", ["", '"low back', '"knee', "", "", ""])},
        refused=("incidents.csv, line 3: a quotation mark opens here and does not close in its row",),
    ),
    "14 a story of several lines with as many commas as the row is no row": Trap(
        {"incidents": with_column(I, "story", ['"Slow,\na,b,c,d,e,f,g,h,i"', "", "", "", "", ""])},
        finds=("columns not read @ 1",),
    ),
    "14 every row has a cell more than the header": Trap(
        {"hours": H.replace("\n", ",\n").replace("hours,", "hours", 1)},
        refused=("None of the 8 rows can be used", "another number of cells than the header"),
    ),
    "13 line ends inside a quoted cell: later lines keep their true numbers": Trap(
        {
            "incidents": with_column(
                I.replace("2025-06-10", "2025-06-31"),
                "body_part",
                ['"low back,\nleft\r\nand right"', "", "", "", "", ""],
            )
        },
        finds=("event_date: type @ 9",),
        rows={"incidents": {"used": 5, "event_date: type": 1}},
        events={"first_aid": 0, "recordable": 5},
    ),
}

HEADERS = {
    "7 title lines above the header": Trap({"hours": "Payroll register\nCost centers: all\n\n" + H}),
    "7 8 a second line of headings above the header": Trap({"hours": ",,Period,,\n" + H}),
    "8 the unit only in the first of its rows: not filled in, the others wait": Trap(
        {"hours": H.replace("007,North,2025-04-01", "007,,2025-04-01")},
        finds=("unit: required @ 3",),
        rows={"hours": {"used": 7, "unit: required": 1}},
        hours={"": ALL - 455},
    ),
    "12 a column without a name at the right": Trap({"hours": H.replace("\n", ",\n")}),
    "15 two columns of one name": Trap(
        {"hours": with_column(H, "hours", "1")}, refused=("hours.csv, line 1: two columns are called 'hours'",)
    ),
    "15 two columns of one name that are not read": Trap(
        {"hours": with_column(with_column(H, "note", "a"), "note", "b")}, finds=("columns not read @ 1",)
    ),
    "16 case, blanks, underscores, a no-break space and dots in headers": Trap(
        {"hours": H.replace("employee_id,unit,period_start", "EMPLOYEE ID , Unit,Period\u00a0Start.")}
    ),
    "16 another name: refused, with the nearest one": Trap(
        {"hours": H.replace("period_end", "Period endd")},
        refused=("hours.csv, line 1: no column 'period_end'", 'add period_end = "Period endd" under [columns.hours]'),
    ),
    "16 another name, mapped; columns in another order": Trap(
        {
            "training": "Status;Finished;Course name;Badge\n"
            + "".join(";".join(reversed(line.split(","))) + "\n" for line in T.splitlines()[1:])
        },
        program='[columns.training]\nstatus = "Status"\ncompleted_on = "Finished"\ncourse = "Course name"\n'
        'employee_id = "Badge"\n',
    ),
    "17 an empty file is not zero injuries": Trap({"incidents": ""}, refused=("the file is empty", "no injuries")),
    "17 a header alone is not zero hours": Trap({"hours": HEADER}, refused=("a header and no rows",)),
    "17 a header and blank lines alone": Trap({"training": T.splitlines(True)[0] + "\n,,,\n"}, refused=("no rows",)),
    "no header at all": Trap({"hours": H.removeprefix(HEADER)}, refused=("no line names the columns",)),
}

LINES = {
    "9 a totals row that agrees is a checksum": Trap(
        {"hours": H + f"Grand Total,,,,{ALL}\n"},
        finds=("totals row @ 10",),
        says=("states 2,172 hours; the rows above it sum to 2,172, as they should",),
        rows={"hours": {"used": 8, "totals row": 1}},
    ),
    "9 a totals row that does not agree: 2,172 - 2,000 = 172 hours are missing or doubled": Trap(
        {"hours": H + "Total,,,,2000\n"},
        finds=("totals row @ 10",),
        says=("they differ", "Find the rows that are missing or doubled"),
        rows={"hours": {"used": 8, "totals row": 1}},
    ),
    "9 75 rounded rows miss the total by a cent of an hour: told, not hidden": Trap(
        {"hours": H + f"Total,,,,{ALL}.01\n"},
        finds=("totals row @ 10",),
        says=("they differ",),
        rows={"hours": {"used": 8, "totals row": 1}},
    ),
    "9 subtotals of units, each the sum since the last": Trap(
        {
            "hours": HEADER + "007,North,2025-01-01,2025-03-31,450\n009,North,2025-01-01,2025-03-31,90\n"
            "North Total,,,,540\n"
            + Q1.replace("007,North,2025-01-01,2025-03-31,450\n", "").replace(
                "009,North,2025-01-01,2025-03-31,90\n", ""
            )
            + "South Total,,,,540\n"
            + Q2
        },
        finds=("totals row @ 4", "totals row @ 7"),
        says=("as they should",),
        rows={"hours": {"used": 8, "totals row": 2}},
    ),
    "9 a sum with nothing beside it is no row of data": Trap(
        {"hours": H + f",,,,{ALL}\n"},
        finds=("unit: required @ 10",),
        rows={"hours": {"used": 8, "unit: required": 1}},
    ),
    "9 a unit called Total Care is no total": Trap(
        {"hours": H.replace("North", "Total Care"), "incidents": I.replace("North", "Total Care")},
        hours={"Total Care": 1086},
        events={"Total Care recordable": 3},
    ),
    "10 footers": Trap(
        {"hours": H + "End of report\n", "training": T + "Page 1 of 3,,,\nConfidential - do not copy,,,\n"},
        rows={"hours": {"used": 8, "footer line": 1}, "training": {"used": 3, "footer line": 2}},
    ),
    "11 the header again on each page": Trap(
        {"hours": HEADER + Q1 + HEADER + Q2}, rows={"hours": {"used": 8, "repeated header": 1}}
    ),
    "12 blank lines and lines of delimiters": Trap(
        {"hours": HEADER + Q1 + "\n,,,,\n" + Q2 + "\n"}, rows={"hours": {"used": 8, "blank line": 3}}
    ),
    "127 test rows": Trap(
        {
            "incidents": I + "TEST,007,2025-04-04,North,days_away,9,0,bathing\n",
            "training": T + "Test user,Safe handling,2025-03-03,completed\n",
        },
        rows={"incidents": {"used": 6, "test row": 1}, "training": {"used": 3, "test row": 1}},
    ),
}

SEVERAL = {
    "19 one file under two names": Trap(
        {"hours": H, "copy": H},
        swap=files_list("hours", "hours", "copy"),
        rows={"hours": {"used": 8, "same file given twice": 8}},
    ),
    "20 extracts that overlap: Jan-Mar and Jan-Jun": Trap(
        {"hours": HEADER + Q1, "second": H},
        swap=files_list("hours", "hours", "second"),
        rows={"hours": {"used": 8, "already in another file": 4}},
    ),
    "20 overlapping logs": Trap(
        {"incidents": "".join(I.splitlines(True)[:5]), "second": I},
        swap=files_list("incidents", "incidents", "second"),
        rows={"incidents": {"used": 6, "already in another file": 4}},
    ),
    "20 overlapping rosters": Trap(
        {"training": "".join(T.splitlines(True)[:2]), "second": T},
        swap=files_list("training", "training", "second"),
        rows={"training": {"used": 3, "already in another file": 1}},
    ),
    "20 two extracts in two layouts": Trap(
        {
            "hours": HEADER + Q1,
            "second": "Unit;Hours;Period end;Period start;Employee ID\n"
            + "".join(";".join(line.split(",")[i] for i in (1, 4, 3, 2, 0)) + "\n" for line in Q2.splitlines()),
        },
        swap=files_list("hours", "hours", "second"),
    ),
    "22 a log of last winter: the last event lies 161 days before the day it is said to be complete": Trap(
        {
            "incidents": I.replace("-03-20", "-01-16")
            .replace("-02-02", "-01-17")
            .replace("-05-05", "-01-18")
            .replace("-05-20", "-01-19")
            .replace("-06-10", "-01-20")
        },
        finds=("the log may be old @ 0",),
        says=("the last event is in 2025-01, 161 days before",),
        events={"recordable": 5, "recordable 2025-Q1": 5},
    ),
    "a file that is not there": Trap(
        swap=and_file("units"),
        refused=("units.csv: there is no such file",),
    ),
}

TABLES = (ENCODINGS, PARQUET, DELIMITERS, HEADERS, LINES, SEVERAL)


@pytest.mark.parametrize("trap", [pytest.param(t, id=n) for table in TABLES for n, t in table.items()])
def test_a_file(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


@pytest.mark.parametrize("rows", [1_000, 65_535, 65_536])
def test_18_a_file_that_ends_where_exports_are_cut_off_is_told(rows: int, tmp_path: Path) -> None:
    """65,536 rows were all that an old spreadsheet could hold, header included."""
    cut = HEADER + f"007,North,2025-01-01,2025-03-31,{450 / 8:g}\n" * 8
    cut += "".join(f",South,2025-01-01,2025-06-30,{place % 7}\n" for place in range(rows - 8))
    seen = look(Trap({"hours": cut}), tmp_path)
    assert [f.rows for f in seen.findings if f.rule == "may be cut off"] == [rows]
    assert seen.rows_in["hours"] == rows


def test_18_another_number_of_rows_is_not_told(tmp_path: Path) -> None:
    cut = HEADER + ",South,2025-01-01,2025-06-30,1\n" * 1_001
    assert "may be cut off" not in {f.rule for f in look(Trap({"hours": cut}), tmp_path).findings}


def test_24_a_cell_that_a_spreadsheet_would_run_is_written_as_text(tmp_path: Path) -> None:
    trap = Trap({"incidents": with_column(I, "nature", ['"=HYPERLINK(""x"")"', "", "", "", "", ""])})
    findings = look(trap, tmp_path).findings
    assert findings[0].found.startswith("=HYPERLINK")
    review.write_findings(findings, tmp_path / "findings.csv")
    written = list(csv.DictReader(io.StringIO((tmp_path / "findings.csv").read_text(encoding="utf-8"))))
    assert written[0]["found"] == '\'=HYPERLINK("x")'
