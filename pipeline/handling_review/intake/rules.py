"""Every rule a row can meet, in one place: what it does to the row, what it means, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Rule:
    """One rule. ``kind``: ``used``, ``set_aside`` (should be mended) or ``excluded`` (right to leave out)."""

    kind: str
    meaning: str
    severity: str = "note"
    what_to_do: str = ""


USED = Rule("used", "Used in the review.")

CROSS_RULES = {
    "used": USED,
    "blank line": Rule("excluded", "An empty line."),
    "repeated header": Rule("excluded", "The header line again, as reports print it on each page."),
    "totals row": Rule("excluded", "A total of other rows; its hours are held against their sum."),
    "footer line": Rule("excluded", "A line of the report, not of the data."),
    "test row": Rule("excluded", "Marked as a test."),
    "same file given twice": Rule("excluded", "The file has the same content as an earlier one."),
    "already in another file": Rule("excluded", "The same row stands in an earlier file (overlapping extracts)."),
    "period loaded twice": Rule(
        "set_aside",
        "Nearly every row of this period stands twice: it was loaded twice. The second copies do not count.",
        "look",
        "Export the period again.",
    ),
    "struck out": Rule("excluded", "Lined out, void or replaced in the log."),
    "older version": Rule("excluded", "A later version of the same case is in the log."),
    "not staff": Rule("excluded", "The injured person is not staff whom the facility supervises."),
    "no outcome": Rule(
        "set_aside",
        "No outcome is given and no box is ticked, so nobody knows whether the case is recordable.",
        "look",
        "Fill in the outcome in the log.",
    ),
    "no date": Rule(
        "set_aside", "Neither a period nor a day worked is given.", "look", "Give period_start and period_end."
    ),
    "period reversed": Rule(
        "set_aside", "The period ends before it starts.", "look", "Correct period_start or period_end."
    ),
    "unmapped pay code": Rule(
        "set_aside",
        "The pay code is not in [pay_codes] of the program file, so nobody knows whether these hours were worked.",
        "blocks",
        "Add the code to worked, not_worked or premium_only.",
    ),
    "not worked": Rule("excluded", "Paid time that was not worked (pay code map)."),
    "premium only": Rule("excluded", "A premium on hours that are already in another row (pay code map)."),
    "negative total": Rule(
        "set_aside",
        "Corrections exceed the hours of this person, unit and period.",
        "look",
        "Find the row that the correction belongs to.",
    ),
    "outside the review period": Rule("excluded", "Before or after the days that the review covers."),
    "after the exports were taken": Rule(
        "set_aside", "The date lies after the day the exports were taken.", "look", "Correct the date or as_of."
    ),
    "unit without hours": Rule(
        "set_aside",
        "The unit has no row in the hours file, so its rate would be infinite.",
        "blocks",
        "Add the unit's hours, or map its name in [units.aliases] of the program file.",
    ),
    "completed in the future": Rule(
        "set_aside", "The completion lies after the day the exports were taken.", "look", "Correct completed_on."
    ),
    "expires before it is completed": Rule(
        "set_aside", "The training expires before it was completed.", "look", "Correct expires_on or completed_on."
    ),
    "not a qualifying status": Rule("excluded", "Enrolled, failed, waived or the like: not a completion."),
    "not a qualifying course": Rule("excluded", "A course that the program file does not count as safe handling."),
}
