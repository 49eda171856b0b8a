"""Cases, hours, rates and two rates set against each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handling_review.evidence.quarters import previous
from handling_review.trace.family import Built, Family, Groups
from handling_review.trace.scope import PHASE_WORDS
from handling_review.trace.selection import Selection

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

LEVEL = ("analysis.confidence",)
RATE = "cases * 200000 / hours"
RATE_INPUTS = {"cases": "cases/{place}/{series}", "hours": "hours/{place}/{series}"}
LIMIT_INPUTS = {**RATE_INPUTS, "confidence": "@analysis.confidence"}
LOWER = "GAMMA_INV((1 - confidence) / 2, cases) * 200000 / hours"
UPPER = "GAMMA_INV(1 - (1 - confidence) / 2, cases + 1) * 200000 / hours"
ONE_SIDED = "GAMMA_INV(confidence, cases + 1) * 200000 / hours"
PAIR_WORDS = {
    "same_quarter_last_year": "quarter {q} against the same quarter a year before",
    "quarter_before": "quarter {q} against the quarter before it",
    "four_quarters_before": "the four quarters to {q} against the four before them",
}


def cases(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    """The cases of the place."""
    return (tracer.scope(parts["place"]).of_cases(parts["series"]),)


def hours(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    """The hours of the place, and the completions that say in which phase they were worked."""
    scope = tracer.scope(parts["place"])
    worked = scope.of_hours()
    by_training = any("phase" in condition or "lapsed" in condition for condition in scope.where)
    return (worked, scope.of_completions()) if by_training else (worked,)


def undecided(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    """Recordable cases that cannot be called handling or not."""
    return (tracer.scope(parts["place"]).of_undecided(),)


def pair(place: str) -> tuple[str, str, str]:
    """The place of a comparison as its two sides, and in words."""
    _, middle, *rest = place.split("/")
    if not rest:
        if middle == "before_after":
            return "facility/after", "facility/before", "after training against before training"
        words = middle.removeprefix("unclassified_").replace("_", " ")
        return (
            f"facility/{middle}-after",
            f"facility/{middle}-before",
            f"after training against before training, undecided cases counted as handling: {words}",
        )
    name = rest[0]
    now, then = {
        "same_quarter_last_year": (middle, previous(middle, 4)),
        "quarter_before": (middle, previous(middle, 1)),
        "four_quarters_before": (f"four-quarters-to-{middle}", f"four-quarters-to-{previous(middle, 4)}"),
    }[name]
    return f"facility/{now}", f"facility/{then}", PAIR_WORDS[name].format(q=middle)


def _compared(expression: str, what: str, method: str = "") -> _Compared:
    return _Compared(expression, what, method)


class _Compared:
    """Builds what compares two rates: the inputs are cases and hours of both sides."""

    def __init__(self, expression: str, what: str, method: str) -> None:
        self._expression, self._what, self._method = expression, what, method

    def __call__(self, tracer: Tracer, parts: Groups) -> Built:
        now, then, words = pair(parts["pair"])
        end = parts["series"]
        inputs = {
            "cases_now": f"cases/{now}/{end}",
            "hours_now": f"hours/{now}/{end}",
            "cases_then": f"cases/{then}/{end}",
            "hours_then": f"hours/{then}/{end}",
        }
        if self._method:
            inputs["confidence"] = "@analysis.confidence"
        return Built(
            formula=tracer.formula(self._expression, inputs),
            words=f"{self._what}: {{what}}, {words}",
            method=self._method,
            rules=("complete quarters", *(("training",) if "/" not in parts["pair"][9:] else ())),
        )


def _share_of_phases(tracer: Tracer, parts: Groups) -> Built:
    names = {phase: f"hours/facility/{phase}" for phase in PHASE_WORDS}
    return Built(
        formula=tracer.formula(f"{parts['phase']} / ({' + '.join(names)})", names),
        words=f"Share of hours worked {PHASE_WORDS[parts['phase']]}, all complete quarters",
        rules=("training", "complete quarters"),
    )


_MIDDLE = (
    "SQL SELECT sum(round(h.hours, 4) * (date_diff('day', DATE '0001-01-01', q.quarter_start) + date_diff('day', DATE "
    "'0001-01-01', q.quarter_end) + 2) / 2 / 365.25) / sum(round(h.hours, 4)) FROM out_person_time AS h JOIN "
    "out_quarters AS q USING (quarter) WHERE q.is_complete AND h.series = 'handling' AND h.phase = '{0}'"
)

FAMILIES = (
    Family("share/facility/unclassified", "Share of handling cases and undecided ones together that are undecided",
           "undecided / (undecided + handling)",
           {"undecided": "SQL SELECT count(*) FROM int_cases WHERE is_recordable AND is_handling IS NULL AND quarter "
                         "IN (SELECT quarter FROM out_quarters WHERE is_complete)",
            "handling": "SQL SELECT count(*) FROM int_cases WHERE is_recordable AND is_handling AND quarter IN "
                        "(SELECT quarter FROM out_quarters WHERE is_complete)"},
           rows=lambda t, p: (t.places.whole().of_undecided(), t.places.whole().of_cases("handling"))),
    Family("ratio/{pair}/{series}", "",
           build=_compared("(cases_now / hours_now) / (cases_then / hours_then)", "Ratio of two rates")),
    Family("ratio_{limit}/{pair}/{series}", "", settings=LEVEL,
           build=_compared("", "{limit} limit of the ratio of two rates", "mid_p")),
    Family("difference/{pair}/{series}", "",
           build=_compared("(cases_now / hours_now - cases_then / hours_then) * 200000", "Difference of two rates")),
    Family("difference_{limit}/{pair}/{series}", "", settings=LEVEL,
           build=_compared("", "{limit} limit of the difference of two rates", "mover")),
    Family("cases_avoided/{pair}/{series}", "",
           build=_compared("cases_then / hours_then * hours_now - cases_now",
                           "Cases fewer than the earlier rate gives on the later hours (below 0: more)")),
    Family("cases_avoided_{limit}/{pair}/{series}", "", settings=LEVEL,
           build=_compared("", "{limit} limit of the cases fewer than the earlier rate gives on the later hours",
                           "mover")),
    Family("lower_at_most/{pair}/{series}", "", settings=LEVEL,
           build=_compared("", "Cases on the later side up to which the answer would be lower", "turning")),
    Family("higher_at_least/{pair}/{series}", "", settings=LEVEL,
           build=_compared("", "Cases on the later side from which on the answer would be higher", "turning")),
    Family("years_apart/facility/before_after",
           "Years between the middles of the hours before and after training, each quarter's hours at its middle",
           "middle_after - middle_before",
           {"middle_after": _MIDDLE.format("after"), "middle_before": _MIDDLE.format("before")},
           rows=lambda t, p: (t.scope("facility/after").of_hours(), t.scope("facility/before").of_hours()),
           sense="The middles are in years, counted from the same day."),
    Family("ratio_if_slow_fall/facility/before_after",
           "Ratio that a general fall of 3 % a year would give over the years between the two sides",
           "(1 - 0.03) ^ years".replace("^", "**"), {"years": "years_apart/facility/before_after"},
           sense="3 to 4 % a year: all private industry, recordable cases, 5.0 in 2003 to 2.3 in 2024 (BLS, Survey of "
                 "Occupational Injuries and Illnesses)."),
    Family("ratio_if_fast_fall/facility/before_after",
           "Ratio that a general fall of 4 % a year would give over the years between the two sides",
           "(1 - 0.04) ** years", {"years": "years_apart/facility/before_after"},
           sense="3 to 4 % a year: all private industry, recordable cases, 5.0 in 2003 to 2.3 in 2024 (BLS, Survey of "
                 "Occupational Injuries and Illnesses)."),
    Family("hours_share/facility/{phase}", "", build=_share_of_phases),
    Family("hours_share/{place}/{status}", "Share of the hours worked with this state of training ({status}): {where}",
           "hours / all_hours", {"hours": "hours/{place}/{status}", "all_hours": "hours/{place}"}),
    Family("cases/{place}/unclassified", "Recordable cases that cannot be called handling or not: {where}",
           rows=undecided),
    Family("cases/{place}/{series}", "Count of {what}: {where}", rows=cases),
    Family("hours/{place}/{series}", "Hours worked: {where} (the same under each kind of injury)", rows=hours),
    Family("hours/{place}", "Hours worked: {where}", rows=hours),
    Family("rate/{place}/{series}", "Rate of {what} per 200,000 hours worked: {where}", RATE, RATE_INPUTS,
           sense="The formula of 29 CFR 1904 and the US Bureau of Labor Statistics; 200,000 hours are 100 people at 40 "
                 "hours a week for 50 weeks."),
    Family("rate_lower/{place}/{series}", "Lower limit of the rate of {what}: {where}", LOWER, LIMIT_INPUTS,
           method="exact", settings=LEVEL),
    Family("rate_upper/{place}/{series}", "Upper limit of the rate of {what}: {where}", UPPER, LIMIT_INPUTS,
           method="exact", settings=LEVEL),
    Family("rate_limit/{place}/{series}", "One-sided upper limit of the rate of {what}: {where}", ONE_SIDED,
           LIMIT_INPUTS, method="one_sided", settings=(*LEVEL, "thresholds.unreliable_below")),
)  # fmt: skip
