"""Figures that are stated (settings, rules, cited results), and what changed since the last review."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import unquote

from handling_review.evidence.restated_keys import fixed_period
from handling_review.trace.family import Builder, Built, Family, Groups
from handling_review.trace.formula import Formula, Input

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

_RULE = "a fixed rule of the review (evidence/stated.py of the program)"
_RULES = {
    "background_fall/slow": "A slow general fall of rates, a year, that is nobody's doing",
    "background_fall/fast": "A fast general fall of rates, a year, that is nobody's doing",
    "day_cap": "Days at which the count of one case ends (29 CFR 1904.7(b)(3)(vii))",
    "slow_report": "Days after the event from which a report counts as slow",
    "active_days": "Days before the end of the hours in which somebody must have worked to be asked for training",
    "months_ahead": "Months ahead in which training that lapses is counted as due soon",
    "funnel/inner_one_in": "Units of which one lies beyond the funnel's inner limits by chance",
    "funnel/outer_one_in": "Units of which one lies beyond the funnel's outer limits by chance",
    "per_transfers": "Transfers that the rate by transfers is given for",
    "load_on_hands": "Pounds on each helper's hands above which a load is counted as high (Waters 2007, American "
    "Journal of Nursing 107(8):53-58)",
    "effort/squat_from": "Share of the effort from which a squat pivot is usual, in percent (common practice, no "
    "source)",
    "effort/squat_to": "Share of the effort up to which a squat pivot is usual, in percent (common practice, no "
    "source)",
    "effort/lateral_from": "Share of the effort from which a lateral transfer or two-person lift is usual, in percent "
    "(common practice, no source)",
    "effort/no_band_from": "Share of the effort from which no manual technique is usual, in percent (common practice, "
    "no source)",
    "effort/no_band_to": "Share of the effort up to which no manual technique is usual, in percent (common practice, "
    "no source)",
    "later_quarters": "Quarters between an early sign and the injuries beside it (common practice, no source)",
    "draws/money": "Random draws behind the ranges of a proposal",
    "draws/worth": "Random draws behind the range of what the program has been worth",
    "draws/days": "Random draws behind the ranges of days away",
    "draws/repeats": "Random draws behind what chance makes of repeat injuries",
    "chart/outside_chance": "Chance of a point beyond one limit of a chart with a steady rate (three sigma)",
    "main_discount_rate": "Discount rate of the figures that lead the budget case",
}
_SOURCES = {
    "cochrane_cd005958/odds_ratio": "Odds ratio of back pain after training without equipment (Verbeek and others, "
    "Cochrane Database of Systematic Reviews, CD005958, 2011)",
    "cochrane_cd005958/lower": "Lower limit of that odds ratio (Cochrane CD005958)",
    "cochrane_cd005958/upper": "Upper limit of that odds ratio (Cochrane CD005958)",
    "bls_private_industry/2003": "Recordable cases per 100 full-time workers of private industry, 2003 (US Bureau of "
    "Labor Statistics)",
    "bls_private_industry/2024": "Recordable cases per 100 full-time workers of private industry, 2024 (US Bureau of "
    "Labor Statistics)",
}
_SETTINGS = {
    "indirect_multiplier": ("money.indirect_multiplier", "Indirect cost of a case for each dollar of direct cost"),
    "washout_days": ("training.washout_days", "Days from a completion on that belong to neither before nor after"),
    "confidence": ("analysis.confidence", "The level of the ranges"),
    "privacy_cell": ("thresholds.privacy_cell", "Counts below it and above nought are not shown of small groups"),
    "unreliable_below": ("thresholds.unreliable_below", "Cases below which a unit gets no rate"),
    "unstable_below": ("thresholds.unstable_below", "Cases below which a rate is marked as moving a lot"),
}


def _as_stated(kind: str, key: str, source: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        number = tracer.output.numbers[f"{kind}/{key}"]
        return Built(Formula("figure", (Input("figure", tracer.value(number.key), number.unit, source=source),)))

    return build


def _listed(tracer: Tracer, parts: Groups) -> Built:
    """How many numbers differ, by the table of them; how many were compared is told by the book of reviews."""
    periods = [fixed_period(key) for key in dict.fromkeys(row["key"] for row in tracer.output.table("restated"))]
    known = [period for period in periods if period is not None]
    trained = sum(period.is_training for period in known)
    limits = sum(period.is_limit for period in known)
    count = float({"all": len(known), "trained": trained, "measured": len(known) - trained - limits}[parts["which"]])
    return Built(Formula("numbers", (Input("numbers", count, "numbers", source="tables/restated.csv, keys"),)))


def _of_key(words: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        return Built(words=f"{words} {unquote(parts['rest'])}")

    return build


def _now(tracer: Tracer, parts: Groups) -> Built:
    return Built(tracer.formula("now", {"now": parts["rest"]}), words=f"As this review publishes {parts['rest']}")


def _by(tracer: Tracer, parts: Groups) -> Built:
    inputs = {"now": f"restated_now/{parts['rest']}", "then": f"restated_then/{parts['rest']}"}
    return Built(tracer.formula("now - then", inputs), words=f"How {parts['rest']} moved since the last review")


_BOOK = "the book of reviews in review.duckdb (history_numbers)"
FAMILIES = (
    *(
        Family(f"setting/{key}", words, "figure", {"figure": f"@{path}"})
        for key, (path, words) in _SETTINGS.items()
    ),
    *(Family(f"rule/{key}", words, build=_as_stated("rule", key, _RULE)) for key, words in _RULES.items()),
    *(
        Family(f"source/{key}", words, build=_as_stated("source", key, "the source named above"))
        for key, words in _SOURCES.items()
    ),
    Family("restated/compared", f"Numbers of the last review that could be held against this one's, from {_BOOK}",
           method="restated"),
    Family("restated/{which}", "Numbers that read differently than in the last review", build=_listed),
    Family("restated_then/{rest}", "", build=_of_key(f"As the last review published it ({_BOOK}):"), method="restated"),
    Family("restated_now/{rest}", "", build=_now),
    Family("restated_by/{rest}", "", build=_by),
    Family("restated_cases/{rest}", "", build=_of_key("Cases by which rows differ from the last review, by reason and "
           "number:"), method="restated"),
    Family("restated_hours/{rest}", "", build=_of_key("Hours by which rows differ from the last review, by reason and "
           "number:"), method="restated"),
    Family("restated_rows/{rest}", "", build=_of_key("Rows that differ from the last review, by reason and number:"),
           method="restated"),
)  # fmt: skip
