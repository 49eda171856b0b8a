"""Sentences about what changed since the last review: how much, why, and where nothing can be compared."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from handling_review.evidence import restated_keys as keys
from handling_review.evidence.restated import ReasonShown, RestatedEvidence, RestatedRow
from handling_review.evidence.restated_compare import MAPPING, NOT_KNOWN, ROWS_GONE, SETTING, TOOL
from handling_review.page.sentence import NOTHING, Part, Sentence, counted, listed, say
from handling_review.page.words.rates import SERIES_NAME

_CASES = {  # kind of change: what the cases did, for one and for several
    "late_cases": "entered in the log since",
    "withdrawn_cases": "struck out or gone from the log",
    "changed_outcome": "with another outcome now",
    "changed_handling": "called handling-related or not otherwise now",
    "changed_date": "with another day of injury now",
    "changed_unit": "written to another unit now",
    "changed_report": "with another day of report now",
    "changed_other": "changed in another way",
    "unit_map": "in another unit by the changed unit names",
    MAPPING: "read otherwise by the changed column and code map",
    SETTING: "counted otherwise by a changed setting",
}
_HOURS = {
    "late_hours": "entered since",
    "withdrawn_hours": "gone from the hours file",
    "corrected_hours": "from corrected rows",
    "unit_map": "in another unit by the changed unit names",
    "pay_codes": "by another meaning of a pay code",
    MAPPING: "read otherwise by the changed column and code map",
    SETTING: "by a changed setting",
    TOOL: "by another version of this tool",
    NOT_KNOWN: "for a reason not found in the rows",
}
_ROWS = {
    "late_training": "training rows added since",
    "withdrawn_training": "training rows gone",
    "changed_training": "training rows changed",
    "late_audits": "audit rows added since",
    "withdrawn_audits": "audit rows gone",
    "changed_posted": "posted figure changed",
    MAPPING: "rows read otherwise by the changed column and code map",
}
_ALONE = {
    SETTING: "a changed setting",
    TOOL: "another version of this tool",
    NOT_KNOWN: "not found in the rows",
    ROWS_GONE: "not known: the rows of the last review are no longer kept",
}
_FAMILY = {
    "cases": "cases",
    "hours": "hours worked",
    "rate": "rate",
    "rate_limit": "upper limit of the rate",
    "rate_lower": "lower limit of the rate",
    "rate_upper": "upper limit of the rate",
    "hours_share": "share of hours worked",
    "people_with_hours": "people with hours",
    "people_trained": "people trained",
    "people_lapsed": "people whose training has lapsed",
    "lag_cases": "cases with a known day of report",
    "lag_unknown": "cases without a day of report",
    "lag_median": "days to report, half of the cases",
    "lag_ninetieth": "days to report, nine in ten cases",
    "lag_slow": "cases reported late",
    "audit_judged": "audit items judged",
    "audit_met": "audit items met",
    "audit_not_applicable": "audit items that did not apply",
    "audit_share": "share of audit items met",
    "audit_share_lower": "lower limit of the share of audit items met",
    "audit_share_upper": "upper limit of the share of audit items met",
    "dart_share": "DART share of recordable cases",
    "dart_share_lower": "lower limit of the DART share",
    "dart_share_upper": "upper limit of the DART share",
    "cases_unclassified": "cases not called handling-related or not",
    "unclassified_share": "share of cases not called handling-related or not",
    "posted": "posted figure",
    "in_review": "figure of the posted summary, in this review",
    "posted_gap": "difference to the posted figure",
}
_STATUS = {
    "current": "training current",
    "lapsed": "training lapsed",
    "washout": "washout",
    "before": "not yet trained",
    "never": "no training on record",
    "unknown": "not known",
}
_WHY_NOT = {
    "no_common_quarter": "the two have no complete quarter in common",
    "other_quarters": "their quarters begin on other days (another fiscal year)",
}
_MOST_SETTINGS, _MOST_QUARTERS = 2, 3


def changed_sentences(found: RestatedEvidence, series: str) -> tuple[Sentence, ...]:
    """Two or three sentences for page one; one where this is the first review or nothing changed."""
    if found.is_first:
        return (say("This is the first review that is kept here, so there is none to compare it with."),)
    told = [_how_much(found)]
    if found.is_compared and found.restated.value:
        told += [_why(found), _example(found, series)]
    told.append(settings_sentence(found))
    return tuple(one for one in told if one != NOTHING)


def _how_much(found: RestatedEvidence) -> Sentence:
    last = f"the review as of {found.changes.as_of}"
    if not found.is_compared:
        return say(f"The numbers of {last} cannot be set beside these: {_WHY_NOT[found.changes.why]}.")
    if not found.restated.value:
        return say(
            f"Since {last}: none of the ", found.compared, " numbers of finished periods that both give has changed."
        )
    if not found.measured.value:
        return say(
            f"Since {last}: no number of cases, hours or rates of a finished period has changed; ",
            *counted(found.trained, "number that tells", "numbers that tell"), " training apart did.",
        )  # fmt: skip
    rest = say(found.trained, " more tell training apart.") if found.trained.value else NOTHING
    return say(
        f"Since {last}, ", *counted(found.measured, "number", "numbers"), " of cases, hours and rates of finished ",
        "periods ", "reads" if found.measured.value == 1 else "read", " differently, of ", found.compared,
        " that both give.",
    ) + rest  # fmt: skip


def _why(found: RestatedEvidence) -> Sentence:
    """What the rows brought in the whole facility; else which of the other reasons holds."""
    parts = [_reason_parts(reason) for reason in found.totals if reason.cases or reason.hours]
    if parts:
        return say("Why: ", *_joined(parts), ".")
    kinds = dict.fromkeys(reason.kind for row in found.rows for reason in row.reasons)
    named = tuple(dict.fromkeys(_ALONE.get(kind, _ROWS.get(kind, "")) for kind in kinds))
    return say(f"Why: {listed(tuple(name for name in named if name))}.")


def _example(found: RestatedEvidence, series: str) -> Sentence:
    """The facility's quarters in which the cases of the main series changed."""
    rows = [
        row
        for row in found.rows
        if row.period.kind == keys.CASES and row.period.unit is None and row.period.series == series
        and len(row.period.quarters) == 1 and row.then and row.now
    ]  # fmt: skip
    if not rows:
        return NOTHING
    parts: list[Part] = []
    for place, row in enumerate(rows[-_MOST_QUARTERS:]):
        if row.then is None or row.now is None:
            continue
        parts += ["; " if place else "", f"{row.period.period}: ", row.then, " then, ", row.now, " now"]
        rate = found.of(row.key.replace("cases/", "rate/", 1))
        if rate is not None and rate.then and rate.now:
            parts += [" (rate ", rate.then, ", now ", rate.now, ")"]
    return say(f"Cases of {SERIES_NAME[series]}, ", *parts, ".")


def settings_sentence(found: RestatedEvidence, most: int = _MOST_SETTINGS) -> Sentence:
    """Settings that changed, with both values; also another first day, other units, another version."""
    changes = found.changes
    told = tuple(f"{one.name} was {_short(one.then)} and is {_short(one.now)}" for one in changes.settings)
    sentence = say(f"Changed settings: {listed(told, most)}.") if told else NOTHING
    if changes.starts:
        sentence = _and(
            sentence, say(f"The review began on {changes.starts[0]} then and begins on {changes.starts[1]}.")
        )
    units = [f"{listed(changes.units_gone)} no longer" if changes.units_gone else ""]
    units += [f"{listed(changes.units_new)} new" if changes.units_new else ""]
    if any(units):
        sentence = _and(
            sentence, say(f"Units: {listed(tuple(u for u in units if u))}; only units in both are compared.")
        )
    if changes.tool:
        sentence = _and(sentence, say(f"Version of this tool: {changes.tool[0]} then, {changes.tool[1]} now."))
    return sentence


def _and(one: Sentence, other: Sentence) -> Sentence:
    return other if one == NOTHING else one + other


def _short(text: str, most: int = 60) -> str:
    return text if len(text) <= most else f"{text[:most]}…"


def reasons_sentence(reasons: Iterable[ReasonShown]) -> Sentence:
    """The reasons of one restated number, each with what it brings."""
    return say(*_joined([_reason_parts(reason) for reason in reasons]))


def _reason_parts(reason: ReasonShown) -> Sequence[Part]:
    if reason.cases is not None:
        return (*counted(reason.cases, "case", "cases"), f" {_CASES.get(reason.kind, 'changed')}")
    if reason.hours is not None and reason.kind in _HOURS:
        sign = "" if (reason.hours.value or 0) < 0 else "+"
        return (sign, reason.hours, f" hours {_HOURS[reason.kind]}")
    if reason.rows is not None:
        rows = _ROWS.get(reason.kind) or f"rows of hours {_HOURS.get(reason.kind, 'changed')}"
        return (reason.rows, f" {rows}")
    return (_ALONE.get(reason.kind, "hours moved between rows, with the same total"),)


def _joined(parts: Sequence[Sequence[Part]]) -> list[Part]:
    found: list[Part] = []
    for place, one in enumerate(parts):
        if place:
            found.append(" and " if place == len(parts) - 1 else ", ")
        found += one
    return found


def what(row: RestatedRow) -> str:
    """What a restated number says, in words."""
    period = row.period
    name = _FAMILY[period.family]
    if period.kind == keys.STATUS:
        return f"{name}: {_STATUS[period.series]}"
    if period.kind == keys.POSTED:
        return f"{name}: {period.series.replace('_', ' ')}"
    return f"{name}, {SERIES_NAME[period.series]}" if period.series in SERIES_NAME else name


def table_note(*, is_cut: bool) -> str:
    """What the table of restated numbers holds and what it leaves out."""
    rest = ", and the rows beyond these," if is_cut else ""
    return (
        "Only numbers of periods that both reviews gave as complete stand here. A new quarter, and what it moves "
        f"(averages over all quarters, comparisons, models), is no restatement. Limits of ranges{rest} stand in "
        "tables/restated.csv. Cases and hours are counted by comparing the rows of both reviews."
    )
