"""Technique audits, training coverage in people, and whose training is due."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from handling_review.trace.families.groups import wilson
from handling_review.trace.family import Builder, Built, Family, Groups, Rows
from handling_review.trace.scope import people, unit_of
from handling_review.trace.selection import COUNT, RANGES, Selection, one_of, quoted

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

MET = {
    "audit_met": ("met = 'yes'", "steps met"),
    "audit_judged": ("met IN ('yes', 'no')", "steps judged"),
    "audit_not_applicable": ("met = 'not_applicable'", "steps that did not apply"),
}


def _window(tracer: Tracer, window: str) -> tuple[str, ...]:
    complete = tracer.places.complete
    if window == "four-quarters":
        return complete[-4:]
    if window == "four-quarters-before":
        return complete[-8:-4] if len(complete) >= 8 else ()
    return (window,)


def _who(tracer: Tracer, who: str) -> tuple[tuple[str, ...], str]:
    if who == "facility":
        return (), "whole facility"
    kind, code = who.split(":", 1)
    column = {"item": "item", "transfer": "transfer_type", "unit": "unit"}[kind]
    value = unit_of(who) if kind == "unit" else code
    words = tracer.places.name(value) if kind == "unit" else f"{kind} {code.replace('_', ' ')}"
    return (f"{column} = {quoted(value)}",), words


def _words(tracer: Tracer, parts: Groups) -> str:
    quarters = _window(tracer, parts["window"])
    return f"{_who(tracer, parts['who'])[1]}, {', '.join(quarters) or 'no quarters'}"


def _steps(head: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        met, words = MET[head]
        where, _ = _who(tracer, parts["who"])
        quarters = one_of("quarter", _window(tracer, parts["window"]))
        return (
            Selection(
                title=f"{words}, {_words(tracer, parts)}",
                file="observations",
                table="int_audits",
                where=(met, *where, quarters),
                unit="steps",
                lines=RANGES,
            ),
        )

    return rows


def _count(head: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        words = MET[head][1]
        return Built(words=f"{words.capitalize()} in technique audits: {_words(tracer, parts)}")

    return build


def _share(tracer: Tracer, parts: Groups) -> Built:
    limit, end = parts.get("limit", ""), f"{parts['who']}/{parts['window']}"
    inputs = {"met": f"audit_met/{end}", "judged": f"audit_judged/{end}"}
    expression = "met / judged"
    if limit:
        inputs["confidence"] = "@analysis.confidence"
        expression = wilson(limit, "met", "judged")
    what = f"{limit} limit of the share" if limit else "Share"
    words = f"{what} of the steps judged that were met: {_words(tracer, parts)}"
    return Built(tracer.formula(expression, inputs), words=words, method="wilson" if limit else "")


def _change(tracer: Tracer, parts: Groups) -> Built:
    limit, who = parts.get("limit", ""), parts["who"]
    now, then = f"{who}/four-quarters", f"{who}/four-quarters-before"
    inputs = {
        "met_now": f"audit_met/{now}",
        "judged_now": f"audit_judged/{now}",
        "met_then": f"audit_met/{then}",
        "judged_then": f"audit_judged/{then}",
    }
    expression = "100 * (met_now / judged_now - met_then / judged_then)"
    if limit:
        other = "upper" if limit == "lower" else "lower"
        inputs = {
            "share_now": f"audit_share/{now}",
            "share_then": f"audit_share/{then}",
            "end_now": f"audit_share_{limit}/{now}",
            "end_then": f"audit_share_{other}/{then}",
        }
        sign, cut = ("-", "MAX(-100, ") if limit == "lower" else ("+", "MIN(100, ")
        expression = (
            f"{cut}100 * (share_now - share_then {sign} "
            "SQRT((share_now - end_now) ** 2 + (end_then - share_then) ** 2)))"
        )
    what = f"{limit} limit of the change" if limit else "Change"
    place = _who(tracer, who)[1]
    words = (
        f"{what} of the share of steps met, in percentage points: {place}, last four complete quarters less four before"
    )
    return Built(tracer.formula(expression, inputs), words=words, method="newcombe" if limit else "")


def _people_rows(condition: str, words: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        quarter = f"quarter = '{parts['q']}'"
        found = people(
            f"{words}, {parts['q']}",
            tuple(c for c in (quarter, "hours_e8 > 0", condition) if c),
            table="int_person_time",
            amount="count(DISTINCT employee_id)",
        )
        scope = tracer.places.quarters((parts["q"],))
        return found, replace(scope.of_hours(), title=f"all hours of {parts['q']}, in which the people are counted")

    return rows


def _staff(where: tuple[str, ...], table: str, words: str, amount: str = "") -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        return (people(words, where, table=table, amount=amount),)

    return rows


def _training_file(where: tuple[str, ...], words: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        return (Selection(title=words, file="training", table="stg_training", where=where, lines=RANGES),)

    return rows


_STATES = {
    "all": ((), "still work here"),
    "all_but_comparison": (("state <> 'comparison_unit'",), "still work here, outside comparison units"),
    "overdue": (("state = 'overdue'",), "still work here and whose training has lapsed"),
    "never_trained": (("state = 'never_trained'",), "still work here and were never trained"),
    "due": (("state = 'due'",), "still work here and whose training will lapse"),
    "current_no_end": (("state = 'current_no_end'",), "still work here and whose training does not lapse"),
    "unknown": (("state = 'unknown'",), "still work here and of whose training nothing is known"),
    "comparison_unit": (("state = 'comparison_unit'",), "still work here, in comparison units"),
}


def _months_ahead(tracer: Tracer, months: int) -> str:
    from datetime import date

    from handling_review.evidence.training_due import month_after

    return month_after(date.fromisoformat(str(tracer.output.manifest["review"]["as_of"])[:10]), months)


def _due(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    from handling_review.evidence.training_due import MONTHS_AHEAD, SOON_MONTHS

    state, unit = parts["state"], parts.get("unit", "")
    soon = _months_ahead(tracer, SOON_MONTHS)
    month = "strftime(due_on, '%Y-%m')"
    if state in _STATES:
        where, words = _STATES[state]
    elif state == "soon":
        where, words = ("state = 'due'", f"{month} <= '{soon}'"), f"still work here and whose training lapses by {soon}"
    elif state == "later":
        last = soon if unit else _months_ahead(tracer, MONTHS_AHEAD)
        where, words = (
            ("state = 'due'", f"{month} > '{last}'"),
            f"still work here and whose training lapses after {last}",
        )
    else:
        where, words = (
            ("state = 'due'", f"{month} = '{state}'"),
            f"still work here and whose training lapses in {state}",
        )
    if unit:
        where, words = (*where, one_of("unit", [unit_of(unit)])), f"{words}, {tracer.places.name(unit_of(unit))}"
    found = people(f"people who {words}", where)
    sources = (
        Selection(
            title="qualifying completions, all of them",
            file="training",
            table="stg_training",
            where=("fate = 'used'",),
            lines=RANGES,
            note="Where a person's training stands follows from the completion that reaches furthest.",
        ),
    )
    return found, *sources


def _due_words(tracer: Tracer, parts: Groups) -> Built:
    return Built(words=f"Count of {_due(tracer, parts)[0].title}", rules=("due",))


_ROSTER = "(SELECT employee_id, bool_or(fate = 'used') AS qualifies FROM stg_training GROUP BY employee_id) AS roster"
_STAFF = (
    "(SELECT employee_id, bool_or(phase = 'never') AS is_never, bool_or(phase = 'unknown') AS is_unknown "
    "FROM int_person_time WHERE employee_id IS NOT NULL GROUP BY employee_id) AS staff"
)

FAMILIES = (
    *(Family(f"{head}/{{who}}/{{window}}", "", rows=_steps(head), build=_count(head)) for head in MET),
    Family("audit_share/{who}/{window}", "", build=_share),
    Family("audit_share_{limit}/{who}/{window}", "", build=_share, settings=("analysis.confidence",)),
    Family("audit_change/{who}/four-quarters", "", build=_change),
    Family("audit_change_{limit}/{who}/four-quarters", "", build=_change, settings=("analysis.confidence",)),
    Family("people_with_hours/facility/{q}", "People with hours in {q}", rows=_people_rows("", "people with hours")),
    Family("people_trained/facility/{q}", "People with hours after training, not lapsed, in {q}",
           rows=_people_rows("phase = 'after' AND NOT lapsed", "people with hours after training, not lapsed")),
    Family("people_lapsed/facility/{q}", "People with hours after their training had lapsed in {q}",
           rows=_people_rows("lapsed", "people with hours after training had lapsed")),
    Family("people_in_training/facility", "People in the training files",
           rows=_staff((), _ROSTER, "people in the training files")),
    Family("people_matched/facility", "People in the training files who have hours", rows=_staff(
        ("employee_id IN (SELECT employee_id FROM int_person_time)",), _ROSTER, "people in the training files with "
                                                                                "hours")),
    Family("match_share/facility", "Share of the people in the training files who have hours", "matched / in_training",
           {"matched": "people_matched/facility", "in_training": "people_in_training/facility"},
           settings=("training.minimum_match_share",)),
    Family("qualifying_completions/facility", "Completions that count as training", rows=_training_file(
        ("fate = 'used'",), "qualifying completions")),
    Family("first_completions/facility", "People with a qualifying completion", rows=_staff(
        ("qualifies",), _ROSTER, "people with a qualifying completion")),
    Family("classes/facility", "Days in class by person: two completions of one person on one day are one",
           rows=lambda t, p: (Selection(
               "days in class by person", "training",
               "(SELECT DISTINCT employee_id, completed_on FROM stg_training WHERE fate = 'used') AS days", (),
               unit="classes", lines=COUNT), *_training_file(("fate = 'used'",), "qualifying completions")(t, p))),
    Family("people_never_trained/facility", "People with hours who were never trained", rows=_staff(
        ("is_never",), _STAFF, "people with hours and no qualifying completion")),
    Family("people_unknown/facility", "People with hours of whose training nothing is known", rows=_staff(
        ("is_unknown",), _STAFF, "people with hours of whose training nothing is known")),
    Family("people_due/facility/{state}", "", rows=_due, build=_due_words),
    Family("people_due/{unit}/{state}", "", rows=_due, build=_due_words),
)  # fmt: skip
