"""Definitions that bear on a number, and the rules that took rows out of its place and time."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.intake.rules import CROSS_RULES
from handling_review.trace.output import Output
from handling_review.trace.scope import Scope
from handling_review.trace.selection import ranges

SERIES_RULE = {
    "handling": "Handling: as the log says (handling_related); else by the activity; else by event type and whether a "
    "person was the source. Recordable: death, days away, restriction or transfer, other recordable (29 CFR 1904.7).",
    "non_handling": "Not from handling: recordable, and the log or the rules say that handling was not the cause.",
    "recordable": "Recordable: death, days away, restriction or transfer, or other recordable (29 CFR 1904.7).",
    "dart": "DART: days away from work, restricted work or job transfer.",
    "days_away": "Days away: the outcome is days away from work (column H of Form 300).",
    "first_aid": "First aid: the outcome in the log is first aid; such cases are not recordable.",
}


@dataclass(frozen=True)
class LeftOut:
    """Rows of one file that one rule took out of a place and time."""

    file: str
    fate: str
    meaning: str
    rows: int
    lines: str


def definition(output: Output, name: str) -> str:
    """A definition in one sentence, with this facility's settings."""
    setting = output.setting
    washout, months = setting("training.washout_days"), setting("training.refresher_months")
    lapse = (
        f"after {months} months or at its own day of expiry" if months else "at its own day of expiry, if it has one"
    )
    texts = {
        "training": f"Before: until the day before a person's first qualifying completion. Washout: that day and the "
        f"days after it, {washout} in all. After: from then on. Training lapses {lapse}. Hours and cases without an id "
        "are unknown.",
        "complete quarters": "A quarter is complete if hours are there for every day of every unit and log and hours "
        "are said to be complete through its end.",
        "go-live": "A unit starts on the go-live day of the units file; where none is given, in the first quarter in "
        "which half of its hours were worked by people past their training. The rest of the quarter of a start is on "
        "neither side of the models.",
        "groups": f"A group of 1 to {int(setting('thresholds.privacy_cell')) - 1} cases is never shown alone; small "
        "groups stand together as all others, and trace does not take them apart.",
        "tasks": "Technique: the share of effort by staff against the usual band. Load: client's weight x share / "
        "helpers against 35 lb, only where staff bore the weight. Equipment: a class that suits the activity, in use "
        "or on the unit.",
        "days lost": "Days away and days restricted or transferred are added up, at most 180 a case (29 CFR 1904.7).",
        "due": "Still works here: hours worked in the last 60 days that the exports know of. Nobody of a comparison "
        "unit is due.",
    }
    return texts[name]


def left_out(output: Output, scope: Scope, file: str) -> list[LeftOut]:
    """Rows of the scope's unit and quarters that a rule took out, by rule."""
    table = f"stg_{file}"
    day = "event_date" if file == "incidents" else "first_day"
    where = ["fate <> 'used'"]
    if file == "training":
        scope = Scope("")
    if scope.unit:
        where.append(scope.unit)
    if scope.quarters:
        last = day if file == "incidents" else "last_day"
        inside = f"{day} <= quarter_end AND {last} >= quarter_start"
        where.append(f"EXISTS (SELECT 1 FROM quarters WHERE {inside} AND ({scope.quarters}))")
    rows = output.rows(
        f"SELECT fate, file_no, list(line ORDER BY line) FROM {table} WHERE {' AND '.join(where)} "
        "GROUP BY fate, file_no ORDER BY fate, file_no"
    )
    found: dict[str, tuple[int, list[str]]] = {}
    for fate, file_no, lines in rows:
        count, texts = found.get(str(fate), (0, []))
        texts.append(f"{output.file_name(file, int(file_no))} {shortened(lines)}")
        found[str(fate)] = count + len(lines), texts
    return [
        LeftOut(file, fate, CROSS_RULES[fate].meaning if fate in CROSS_RULES else "", count, "; ".join(texts))
        for fate, (count, texts) in found.items()
    ]


def unread(output: Output, file: str) -> list[LeftOut]:
    """Rows that were set aside while the file was read: whose place and time nobody knows."""
    found = []
    names = {str(one["name"]) for one in output.manifest["inputs"] if one["file"] == file}
    for row in output.table("row_accounting"):
        if row["file"] != file or row["kind"] != "set_aside" or row["rule"] in CROSS_RULES:
            continue
        lines = [
            int(one["line"])
            for one in output.findings
            if one["rule"] == row["rule"] and one["file"] in names and one["line"] not in ("", "0")
        ]
        where = f"{', '.join(sorted(names))} {shortened(sorted(lines))}" if lines else "see findings.csv"
        found.append(LeftOut(file, row["rule"], row["meaning"], int(row["rows"]), where))
    return found


def shortened(lines: list[int], most: int = 12) -> str:
    """Lines as ranges, the first ones only where there are many."""
    listed = ranges(lines).split(", ")
    word = "line" if len(lines) == 1 else "lines"
    more = f" and {len(listed) - most} more stretches" if len(listed) > most else ""
    return f"{word} {', '.join(listed[:most])}{more}"
