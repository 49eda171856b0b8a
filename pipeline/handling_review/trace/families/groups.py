"""How long people were away, how late cases are reported, and who is hurt."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from handling_review.trace.family import Builder, Built, Family, Groups, Rows
from handling_review.trace.scope import Scope, people
from handling_review.trace.selection import Selection, quoted

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer


def _window(tracer: Tracer, parts: Groups) -> Scope:
    complete = tracer.places.complete
    window = parts["window"]
    if window == "all-complete-quarters":
        return tracer.places.whole()
    labels = complete[-4:]
    if window == "the-four-before":
        labels = tuple(q for q in complete if q < labels[0])[-4:]
    words = "the last four quarters" if window == "last-four-quarters" else "the four quarters before these"
    return tracer.places.quarters(labels, f"{words} ({', '.join(labels)})")


_DAYS = "coalesce(days_away, 0) + coalesce(days_restricted, 0)"


def _days(amount: str = "", unit: str = "cases") -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        found = _window(tracer, parts).of_cases(parts["series"])
        return (
            replace(
                found,
                title=f"cases with days lost: {found.title}",
                where=(*found.where, f"{_DAYS} > 0"),
                amount=amount,
                unit=unit,
                note="Days away and restricted together, at most 180 a case; the days of single cases are not printed.",
            ),
        )

    return rows


def _window_hours(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (_window(tracer, parts).of_hours(),)


def _windowed(words: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        return Built(words=f"{words}: {{what}}, {_window(tracer, parts).words}", rules=("days lost",))

    return build


def _outcome(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    found = _window(tracer, parts).of_cases("recordable")
    words = parts["outcome"].replace("_", " ")
    return (
        replace(found, title=f"{found.title}: {words}", where=(*found.where, f"outcome = {quoted(parts['outcome'])}")),
    )


OUTCOMES = ("death", "days_away", "restricted_or_transfer", "other_recordable")
WILSON_SHARE = "x / n"
_Z = "NORM_S_INV((1 + confidence) / 2)"
WILSON_LOWER = f"MAX(0, (x + {_Z} ** 2 / 2 - {_Z} * SQRT(x * (n - x) / n + {_Z} ** 2 / 4)) / (n + {_Z} ** 2))"
WILSON_UPPER = f"MIN(1, (x + {_Z} ** 2 / 2 + {_Z} * SQRT(x * (n - x) / n + {_Z} ** 2 / 4)) / (n + {_Z} ** 2))"


def wilson(limit: str, x: str, n: str) -> str:
    """The expression of a Wilson limit with other names for the counts."""
    text = WILSON_LOWER if limit == "lower" else WILSON_UPPER
    return (
        text.replace("(x ", f"({x} ")
        .replace("(x*", f"({x}*")
        .replace("x *", f"{x} *")
        .replace("- x)", f"- {x})")
        .replace("(n ", f"({n} ")
        .replace("/ n ", f"/ {n} ")
    )


def _outcome_share(tracer: Tracer, parts: Groups) -> Built:
    limit = parts.get("limit", "")
    names = {name: f"outcome_cases/{parts['window']}/{name}" for name in OUTCOMES}
    n = f"({' + '.join(OUTCOMES)})"
    own = parts["outcome"]
    expression = f"{own} / {n}"
    if limit:
        names["confidence"] = "@analysis.confidence"
        expression = wilson(limit, own, n)
    what = f"{limit} limit of the share" if limit else "Share"
    words = f"{what} of recordable cases with the outcome {own.replace('_', ' ')}: {_window(tracer, parts).words}"
    return Built(tracer.formula(expression, names), words=words, method="wilson" if limit else "")


_LAG = "reported_date >= event_date"


def _lag_scope(tracer: Tracer, period: str) -> Scope:
    if period == "all-quarters":
        return Scope("whole facility, all quarters of the review")
    return tracer.places.quarters((period,))


def _lags(condition: str, words: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        scope = _lag_scope(tracer, parts["period"])
        return (
            Selection(
                title=f"recordable and first-aid cases {words}, {scope.words}",
                file="incidents",
                table="int_cases",
                where=("is_recordable OR outcome = 'first_aid'", condition, *scope.where),
                unit="cases",
            ),
        )

    return rows


def _lag_words(words: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        return Built(words=f"{words}: {_lag_scope(tracer, parts['period']).words}")

    return build


def _slow(tracer: Tracer, parts: Groups) -> Built:
    rows = _lags(f"{_LAG} AND reported_date - event_date > 7", "")(tracer, parts)[0]
    inputs = {"slow_cases": "SQL " + rows.query().rstrip(";"), "cases": f"lag_cases/facility/{parts['period']}"}
    words = f"Share of cases reported after more than seven days: {_lag_scope(tracer, parts['period']).words}"
    return Built(tracer.formula("slow_cases / cases", inputs), words=words)


def _lag_curve(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (
        Selection(
            title="recordable cases with a day of report, all quarters of the review",
            file="incidents",
            table="int_cases",
            where=("is_recordable", "reported_date >= event_date", "reported_date <= (SELECT as_of FROM settings)"),
            unit="cases",
        ),
    )


_NOW = {"cases": "cases/facility/{q}/{series}", "hours": "hours/facility/{q}/{series}"}


def _cases_flag(where: str, words: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        whole = tracer.places.whole()
        return (
            Selection(
                title=f"{words}, {whole.words}",
                file="incidents",
                table="int_cases",
                where=("is_recordable", *whole.where, *where.split(" AND ")),
                unit="cases",
            ),
        )

    return rows


def _group_share(tracer: Tracer, parts: Groups) -> Built:
    place = f"group:{parts['kind']}:{parts['label']}"
    start, end = f"cases/group:{parts['kind']}:", f"/{parts['series']}"
    keys = [key for key in tracer.output.keys(start) if key.endswith(end)]
    names = {f"group_{i}": key for i, key in enumerate(keys, start=1)}
    own = next(name for name, key in names.items() if key == f"cases/{place}{end}")
    scope = tracer.scope(place)
    return Built(
        tracer.formula(f"{own} / ({' + '.join(names)})", names),
        words=f"Share of {{what}}: {scope.words}",
        rules=("groups",),
    )


def _group_known(tracer: Tracer, parts: Groups) -> Built:
    kind = parts["kind"]
    whole = tracer.places.whole()
    given = replace(whole, cases_table="int_case_groups")
    known = given.also("", f"{kind} NOT IN ('not given', 'not known')").of_cases(parts["series"])
    every = given.of_cases(parts["series"])
    inputs = {"known": "SQL " + known.query().rstrip(";"), "all_cases": "SQL " + every.query().rstrip(";")}
    return Built(
        tracer.formula("known / all_cases", inputs),
        words=f"Share of {{what}} of which the {kind.replace('_', ' ')} is given",
    )


def _group_known_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (tracer.places.whole().of_cases(parts["series"]),)


_LINKED = (
    "is_recordable",
    "is_handling",
    "employee_id IN (SELECT employee_id FROM int_person_time WHERE employee_id IS NOT NULL)",
)


def _linked(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (
        Selection(
            title="recordable handling injuries of people with hours, all days of the review",
            file="incidents",
            table="int_cases",
            where=_LINKED,
            unit="cases",
        ),
    )


def _twice(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    listed = (
        f"(SELECT employee_id FROM int_cases WHERE {' AND '.join(_LINKED)} GROUP BY employee_id HAVING count(*) > 1)"
    )
    found = people("people with two recordable handling injuries or more in the review", (), table=f"{listed} AS two")
    return (replace(found, file="incidents", few=tracer.output.numbers["people_twice/repeats/handling"].value is None),)


_YEAR = {"recordable": "cases/facility/{year}/recordable", "dart": "cases/facility/{year}/dart"}


def _year_undecided(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    scope = tracer.scope(f"facility/{parts['year']}")
    return (scope.of_undecided(),)


FAMILIES = (
    Family("cases_with_days/{window}/{series}", "", rows=_days(), build=_windowed("Cases with days lost")),
    Family("days_lost/{window}/{series}", "", rows=_days(f"CAST(sum(least({_DAYS}, 180)) AS BIGINT)", "days"),
           build=_windowed("Days lost, away and restricted together")),
    Family("days_longest/{window}/{series}", "", rows=_days(f"max(least({_DAYS}, 180))", "days"),
           build=_windowed("Days of the longest case")),
    Family("hours_severity/{window}/{series}", "", rows=_window_hours, build=_windowed("Hours worked")),
    Family("days_rate/{window}/{series}", "Days lost per 200,000 hours worked: {what}, {window}",
           "days * 200000 / hours",
           {"days": "days_lost/{window}/{series}", "hours": "hours_severity/{window}/{series}"}),
    Family("days_rate_without_longest/{window}/{series}",
           "Days lost per 200,000 hours worked, the longest case left out: {what}, {window}",
           "(days - longest) * 200000 / hours",
           {"days": "days_lost/{window}/{series}", "longest": "days_longest/{window}/{series}",
            "hours": "hours_severity/{window}/{series}"}),
    *(Family(f"days_{{limit}}{end}/{{window}}/{{series}}",
             f"{{limit}} limit of the days lost per 200,000 hours worked{words}: {{what}}, {{window}}", "",
             {"cases": "cases_with_days/{window}/{series}", "days": "days_lost/{window}/{series}",
              "hours": "hours_severity/{window}/{series}"}, method="compound", settings=("analysis.confidence",))
      for end, words in (("", ""), ("_without_longest", ", the longest case left out"))),
    Family("outcome_cases/{window}/{outcome}", "Recordable cases with the outcome {outcome}: {window}", rows=_outcome),
    Family("outcome_share/{window}/{outcome}", "", build=_outcome_share),
    Family("outcome_share_{limit}/{window}/{outcome}", "", build=_outcome_share, settings=("analysis.confidence",)),
    Family("cases_still_counting/facility", "Cases whose count of days may still grow", rows=_cases_flag(
        f"is_dart AND {_DAYS} > 0 AND {_DAYS} < 180 AND {_DAYS} + 7 >= (SELECT as_of FROM settings) - event_date",
        "recordable cases whose days reach the week before the exports were taken")),
    Family("cases_no_days/facility", "Cases with days away or restricted of which no days are given", rows=_cases_flag(
        "is_dart AND days_away IS NULL AND days_restricted IS NULL", "DART cases without any days in the log")),
    Family("cases_near_cap/facility", "Cases with 150 to 179 days lost", rows=_cases_flag(
        f"{_DAYS} >= 150 AND {_DAYS} < 180", "recordable cases with 150 to 179 days")),
    Family("cases_at_cap/facility", "Cases with 180 days lost or more, at which counting may stop (29 CFR 1904.7)",
           rows=_cases_flag(f"{_DAYS} >= 180", "recordable cases with 180 days or more")),
    Family("lag_cases/facility", "Recordable cases with a day of report, on which the expected late cases rest",
           rows=_lag_curve),
    Family("lag_cases/facility/{period}", "", rows=_lags(_LAG, "with a day of report"),
           build=_lag_words("Cases with a day of report, recordable and first aid together")),
    Family("lag_unknown/facility/{period}", "", rows=_lags(
        "reported_date IS NULL OR reported_date < event_date", "without a usable day of report"),
        build=_lag_words("Cases without a usable day of report")),
    Family("lag_median/facility/{period}", "", rows=_lags(_LAG, "with a day of report"), method="quantile",
           build=_lag_words("Days from event to report, half of the cases within")),
    Family("lag_ninetieth/facility/{period}", "", rows=_lags(_LAG, "with a day of report"), method="quantile",
           build=_lag_words("Days from event to report, nine tenths of the cases within")),
    Family("lag_slow/facility/{period}", "", rows=_lags(_LAG, "with a day of report"), build=_slow),
    Family("in_the_log/facility/{q}/{series}", "Share of the cases of {q} that is in the log by now: {what}", "",
           {"cases": "cases/facility/{q}/{series}", "cases_with_a_lag": "lag_cases/facility"}, method="late"),
    Family("late_cases/facility/{q}/{series}", "Cases of {q} still to be reported: {what}", "",
           {"cases": "cases/facility/{q}/{series}", "share_in_the_log": "in_the_log/facility/{q}/{series}",
            "cases_with_a_lag": "lag_cases/facility"}, method="late"),
    Family("late_cases_{limit}/facility/{q}/{series}", "{limit} limit of the cases of {q} still to be reported: "
                                                       "{what}", "",
           {"cases": "cases/facility/{q}/{series}", "share_in_the_log": "in_the_log/facility/{q}/{series}",
            "cases_with_a_lag": "lag_cases/facility"}, method="late", settings=("analysis.confidence",)),
    Family("nowcast_rate/facility/{q}/{series}", "Rate of {q} with the late cases that are expected: {what}",
           "(cases + late) * 200000 / hours", {**_NOW, "late": "late_cases/facility/{q}/{series}"}),
    Family("nowcast_{limit}/facility/{q}/{series}", "{limit} limit of the rate of {q} with late cases: {what}",
           "(cases + late) * 200000 / hours", {**_NOW, "late": "late_cases_{limit}/facility/{q}/{series}"}),
    Family("group_cases/facility/{series}", "Count of {what} that are shown by group", rows=_group_known_rows),
    Family("group_share/group:{kind}:{label}/{series}", "", build=_group_share),
    Family("group_known/{kind}/{series}", "", build=_group_known, rows=_group_known_rows),
    Family("linked_cases/repeats/handling", "Recordable handling injuries of people with hours", rows=_linked),
    Family("people_twice/repeats/handling", "People with two recordable handling injuries or more", rows=_twice,
           settings=("thresholds.privacy_cell",)),
    Family("people_twice_by_chance/repeats/handling", "People with two such injuries that chance alone would give", "",
           {"cases": "linked_cases/repeats/handling"}, method="repeats"),
    Family("people_twice_{limit}/repeats/handling", "{limit} end of the people with two such injuries that chance "
                                                    "gives "
           "95 times in 100", "", {"cases": "linked_cases/repeats/handling"}, method="repeats"),
    Family("dart_share/facility/{year}", "Share of the recordable cases of {year} that were DART cases",
           "dart / recordable", _YEAR),
    *(Family(f"dart_share_{limit}/facility/{{year}}", f"{limit.capitalize()} limit of the share of the recordable "
                                                      "cases "
             "of {year} that were DART cases", wilson(limit, "dart", "recordable"),
             {**_YEAR, "confidence": "@analysis.confidence"}, method="wilson") for limit in ("lower", "upper")),
    Family("cases_unclassified/facility/{year}", "Recordable cases of {year} that cannot be called handling or not",
           rows=_year_undecided),
    Family("unclassified_share/facility/{year}", "Share of the recordable cases of {year} that cannot be called "
                                                 "handling "
           "or not", "undecided / recordable",
           {"undecided": "cases_unclassified/facility/{year}", "recordable": _YEAR["recordable"]}),
)  # fmt: skip
