"""The cross-checks: each one a query, and the words around a row that it returns."""

from __future__ import annotations

import json
from collections.abc import Callable

from handling_review.intake.cross import Check, Row


def _fixed(text: str) -> Callable[[Row], str]:
    return lambda row: text


def _many(count: int, one: str, many: str) -> str:
    """A count with its noun."""
    return f"{count:,} {one if count == 1 else many}"


def _near(row: Row) -> str:
    """How near the pairs of cases are: on one day, or with one part of the body; counted where both occur."""
    day, part = "on the same day", "with the same body part within 365 days"
    if row["same_day"] and row["same_part"]:
        return f"{row['same_day']:,} {day} and {row['same_part']:,} {part}"
    return day if row["same_day"] else part


BEFORE_MEASURE = (
    Check(
        "find_repeated_case_numbers", "incidents", "case number repeated", "look", "case_number",
        lambda r: f"case number {r['found']!r} stands {r['rows']} times in one year; all are counted.",
        _fixed("If one is an older version of the other, remove it from the export."),
    ),
    Check(
        "find_two_boxes", "incidents", "more than one box ticked", "look", "outcome",
        lambda r: f"{r['found']}, the most serious.",
        _fixed("Tick one box a case (Form 300)."),
    ),
    Check(
        "find_near_duplicates", "incidents", "may be the same case twice", "note", "case_number",
        lambda r: f"{_many(r['rows'], 'pair', 'pairs')} of cases of one person, {_near(r)}. All are counted; none is "
        "merged.",
        _fixed("A recurrence with no new event belongs on its first line; look at each pair."),
    ),
    Check(
        "find_agency_without_hours", "incidents", "agency injuries without agency hours", "look", "person_type",
        lambda r: f"{r['rows']:,} cases of agency staff are counted, and the hours files hold no agency hours: "
        "the rate is too high.",
        _fixed("Add the hours from agency invoices with source = agency and no employee id."),
    ),
    Check(
        "find_stale_files", "incidents", "the log may be old", "look", "event_date",
        lambda r: f"the last event is in {r['found']}, {r['days']} days before the log is said to be complete "
        f"({r['log_through']}).",
        _fixed("Export the log again, or correct log_complete_through."),
    ),
    Check(
        "find_log_of_other_days", "incidents", "no case in the review", "blocks", "event_date",
        lambda r: f"none of the {r['rows']:,} cases lies on a day of the review; they run from {r['first_event']} to "
        f"{r['last_event']}. That is not the same as no injuries.",
        _fixed("Export the log of the whole review, or correct start and end under [review]."),
    ),
    Check(
        "find_cases_outside_employment", "incidents", "case outside employment", "look", "event_date",
        lambda r: f"{r['rows']:,} cases lie over 92 days away from all hours of their person. They count for the unit.",
        _fixed("Check the date, and whether the id was given to somebody else before or after."),
    ),
    Check(
        "find_days_beyond_cap", "incidents", "days beyond 180", "note", "days_away",
        lambda r: f"{r['found']} days away and restricted together; the log may stop at 180 (29 CFR 1904.7). Kept.",
        _fixed("Nothing, if the count is meant."),
    ),
    Check(
        "find_outcome_against_days", "incidents", "outcome against days", "look", "outcome",
        lambda r: f"{r['found']}: they do not fit together. Counted by its outcome.",
        _fixed("Correct the outcome or the days in the log."),
    ),
    Check(
        "find_reported_before_event", "incidents", "reported before it happened", "look", "reported_date",
        lambda r: f"reported {r['found']}. The case is counted; its reporting lag is not used.",
        _fixed("Correct one of the two dates."),
    ),
    Check(
        "find_long_days", "hours", "more hours than the days hold", "look", "hours",
        lambda r: f"{r['found']} for one person; {r['rows']:,} such periods in all. The hours are counted.",
        _fixed("Correct the hours, or leave the employee id blank if the row is a unit total."),
    ),
    Check(
        "find_repeated_hours", "hours", "hours row repeated", "look", "hours",
        lambda r: f"{r['rows']:,} rows repeat another row to the letter ({r['hours']:,.1f} hours). They are counted.",
        _fixed("If they were exported twice, export again; two equal shifts on one day are fine."),
    ),
    Check(
        "find_overlapping_periods", "hours", "periods overlap", "look", "period_start",
        lambda r: f"{r['rows']:,} rows of one person, unit and pay code overlap another period of theirs "
        f"({r['hours']:,.1f} hours). They are counted.",
        _fixed("Check for a payroll system change or a period exported twice."),
    ),
    Check(
        "find_changed_hours", "hours", "other hours in an earlier file", "look", "hours",
        lambda r: f"{r['rows']:,} rows ({r['hours']:,.1f} hours) are of a person, unit, period and pay code for which "
        "an earlier file holds other hours. Both are counted.",
        _fixed("If the later file corrects the earlier one, export each period once."),
    ),
    Check(
        "find_estimated_hours", "hours", "estimated hours", "note", "source",
        lambda r: f"{r['hours']:,.0f} of {r['all_hours']:,.0f} hours are estimates.",
        _fixed("Nothing, if they stand for hours worked (29 CFR 1904.32 allows an estimate)."),
    ),
    Check(
        "find_unit_changes", "hours", "hours on the wrong side of a unit change", "look", "unit",
        lambda r: f"{r['found']!r} has {r['rows']:,} rows "
        f"{'on or after' if r['side'] == 'old' else 'before'} its change on {r['changed_on']}. Both are one unit.",
        _fixed("Correct the date in [[units.changes]] if it is wrong."),
    ),
    Check(
        "find_id_widths", "training", "leading zeros differ between files", "look", "employee_id",
        lambda r: f"{r['rows']:,} ids match the hours files only if leading zeros are ignored.",
        _fixed("If they are the same people, pad ids of digits to one width."),
        lambda r: ("ids", f"zero_pad = {r['width']}"),
    ),
    Check(
        "find_id_case", "training", "upper and lower case differ between files", "look", "employee_id",
        lambda r: f"{r['rows']:,} ids match the hours files only if case is ignored.",
        _fixed("If they are the same people, export both with ids in one case."),
    ),
    Check(
        "find_blank_pay_codes", "hours", "blank pay code", "note", "pay_code",
        lambda r: f"{r['rows']:,} rows have no pay code while others have one; their hours count as worked.",
        _fixed("Add the code if these hours were not worked."),
    ),
    Check(
        "find_unlisted_units", "units", "unit not listed", "look", "unit",
        lambda r: f"{r['found']!r} has hours or cases and is not in the units file; it is shown as a unit of its own.",
        _fixed("List it, or say under [units.aliases] of the program file which unit it is."),
        lambda r: ("units.aliases", f'{json.dumps(r["found"], ensure_ascii=False)} = "?"   # the unit it stands for'),
    ),
    Check(
        "find_repeated_units", "units", "unit listed twice", "look", "unit",
        lambda r: f"{r['found']!r} is listed {r['rows']} times; the first of its go-live days counts.",
        _fixed("Keep one line a unit."),
    ),
    Check(
        "find_outside_life", "units", "outside the life of the unit", "look", "opened_on",
        lambda r: f"{r['found']!r} has {r['hours']:,.0f} hours and {r['cases']:,} cases before it opened or after it "
        "closed. They are counted.",
        _fixed("Correct opened_on or closed_on, or find the unit that these belong to."),
    ),
    Check(
        "find_repeated_years", "annual_totals", "year posted twice", "look", "year",
        lambda r: f"{r['found']} stands {r['rows']} times; each line is held against the review.",
        _fixed("Keep one line a year, the sum of all parts of the facility."),
    ),
    Check(
        "find_training_spike", "training", "many completions on one day", "look", "completed_on",
        lambda r: f"{r['rows']:,} of {r['people']:,} people have their first completion on {r['found']}.",
        _fixed("If the dates were filled in later, find the class dates: before and after depend on them."),
    ),
    Check(
        "find_unmatched_training", "training", "training without hours", "look", "employee_id",
        lambda r: f"{r['rows']:,} of {r['people']:,} people in the training file have no hours."
        + (" People without a training row are therefore called unknown, not untrained." if r["is_unknown"] else ""),
        _fixed("Leavers from before the period are expected; otherwise compare the ids of both systems."),
    ),
    Check(
        "find_unmatched_cases", "incidents", "case without hours of its person", "look", "employee_id",
        lambda r: f"{r['rows']:,} cases belong to people without hours; they count for their unit.",
        _fixed("Compare the ids of both systems."),
    ),
    Check(
        "find_training_outside_employment", "training", "trained outside employment", "look", "completed_on",
        lambda r: f"{r['before_hire']:,} people have their first completion over 31 days before their first hours, "
        f"{r['after_leaving']:,} over 31 days after their last.",
        _fixed("Check the dates, and whether ids were given to somebody else; earlier training elsewhere is fine."),
    ),
    Check(
        "find_remedial_training", "training", "trained after an own injury", "note", "completed_on",
        lambda r: f"{_many(r['rows'], 'person was', 'people were')} first trained within 30 days after an own injury.",
        _fixed("Training that answers an injury can look better than it is; keep it in mind when reading the ratio."),
    ),
    Check(
        "find_unclassified", "incidents", "handling undecided", "look", "handling_related",
        lambda r: f"{r['rows']:,} of {r['recordable']:,} recordable cases cannot be called handling-related or not.",
        _fixed("Fill in activity or handling_related; until then the review shows the result with and without them."),
    ),
    Check(
        "find_no_qualifying_training", "training", "no qualifying training", "look", "course",
        lambda r: f"none of the {r['rows']:,} rows qualifies, so before and after training cannot be compared. "
        f"Courses seen: {(r['found'] or 'none')[:300]}.",
        _fixed("Name the courses that count in [training] qualifying_courses of the program file."),
    ),
)  # fmt: skip

AFTER_MEASURE = (
    Check(
        "find_leavers_without_training", "training", "people who left are missing", "look", "employee_id",
        lambda r: f"{r['left_trained']:,} of {r['rows']:,} people who left stand in the training file, but "
        f"{r['stayed_trained']:,} of {r['stayed']:,} who stayed do: it may list current staff only.",
        _fixed("Export the training of people who left too; without it their trained hours pass for untrained."),
    ),
    Check(
        "find_match_by_unit", "training", "few people of the unit are in the training file", "look", "employee_id",
        lambda r: f"{r['rows']:,} of {r['people']:,} people of {r['found']!r} are not in the training file "
        f"({r['hours'] or 0:,.0f} hours).",
        _fixed("Compare the ids of both systems for this unit."),
    ),
    Check(
        "find_long_weeks", "hours", "very long weeks", "look", "hours",
        lambda r: f"{r['rows']:,} times a person has over {r['per_week']:g} hours a week on average in a quarter.",
        _fixed("Look for unit totals under one id, or hours loaded twice."),
    ),
    Check(
        "find_odd_years", "hours", "hours a person look wrong", "look", "hours",
        lambda r: f"the average is {r['a_year']:,.0f} hours a person a year; 120 to 4,500 is usual.",
        _fixed("Check the unit of the hours column ([hours] written_as) and whether all files are there."),
    ),
    Check(
        "find_unit_without_worked_hours", "incidents", "unit without hours worked", "blocks", "unit",
        lambda r: f"{r['found']!r} has {r['rows']:,} cases in the review and no hours worked in it: its rate would be "
        "infinite.",
        _fixed("Add the unit's hours, or map its name in [units.aliases] of the program file."),
        lambda r: ("units.aliases", f'{json.dumps(r["found"], ensure_ascii=False)} = "?"   # the unit it stands for'),
    ),
    Check(
        "find_partial_period", "hours", "last period may not be complete", "look", "period_end",
        lambda r: f"the period {r['found']} to {r['last_day']} ends after the exports were taken ({r['as_of']}), so "
        "its hours may not all be in.",
        _fixed("State hours_complete_through under [review]: the last day that the hours cover whole."),
    ),
    Check(
        "find_hours_gaps", "hours", "hours missing", "look", "period_start",
        lambda r: f"{r['found']} has no hours from {r['from_day']} to {r['to_day']} ({r['rows']} days); no rate is "
        "printed for the quarters touched.",
        _fixed("Add the missing pay periods, or state opened_on and closed_on in the units file."),
    ),
    Check(
        "find_trained_in_comparison", "units", "trained people in a comparison unit", "note", "comparison",
        lambda r: f"{r['rows']:,} trained people worked {r['hours']:,.0f} hours in comparison unit {r['found']!r}.",
        _fixed("Keep it in mind where units are compared."),
    ),
)  # fmt: skip
