"""Around each unit's start: the interrupted series, and whether the first units were chosen after a bad spell."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING
from urllib.parse import unquote

from handling_review.trace.family import Builder, Built, Family, Groups
from handling_review.trace.formula import Formula
from handling_review.trace.scope import Scope
from handling_review.trace.selection import Selection, one_of

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

LEVEL = ("analysis.confidence",)


def _place(parts: Groups) -> str:
    return f"unit/{parts['code']}/series" if "code" in parts else "facility/series"


def _series_scope(tracer: Tracer, parts: Groups) -> Scope:
    """The units of one interrupted series, all complete quarters."""
    if "code" in parts:
        scope = tracer.places.unit(f"unit:{parts['code']}")
    else:
        units = [unit for unit in tracer.strata.units if unit not in tracer.strata.comparison]
        scope = tracer.places.whole().also("all units with the program", one_of("unit", units))
    return scope.also("", one_of("quarter", [parts["q"]])) if "q" in parts else scope


def _series_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    scope = _series_scope(tracer, parts)
    if "q" in parts:
        scope = replace(scope, words=f"{scope.words}, quarter {parts['q']}")
    return scope.of_cases(parts["series"]), scope.of_hours()


def _seen(tracer: Tracer, parts: Groups) -> Built:
    cases, hours = _series_rows(tracer, parts)
    inputs = {"cases": "SQL " + cases.query().rstrip(";"), "hours": "SQL " + hours.amount_query()}
    who = f"{tracer.places.name(unquote(parts['code']))}" if "code" in parts else "all units with the program together"
    return Built(
        tracer.formula("cases * 200000 / hours", inputs),
        words=f"Rate seen in {parts['q']}: {{what}}, {who}",
    )


def _fitted(what: str, method: str = "interrupted") -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        start = f"series_seen/{_place(parts)}/{parts['series']}/"
        keys = tracer.output.keys(start)
        inputs = tuple(tracer.input("seen_" + key.removeprefix(start).replace("-", "_"), key) for key in keys)
        who = (
            f"{tracer.places.name(unquote(parts['code']))}"
            if "code" in parts
            else "all units with the program together"
        )
        at = f" in {parts['q']}" if "q" in parts else ""
        return Built(Formula("", inputs), words=f"{what}{at}: {{what}}, {who}", method=method, rules=("go-live",))

    return build


def _series_families() -> tuple[Family, ...]:
    fits = {
        "series_step": ("Step of the rate at the start (ratio)", "interrupted"),
        "series_slope": ("Yearly change after the start over that before (ratio)", "interrupted"),
        "series_before_per_year": ("Yearly change before the start (ratio)", "interrupted"),
        "series_step_newey_west": ("Step of the rate at the start (ratio), errors by Newey and West", "newey_west"),
    }
    points = {
        "series_fitted": "Fitted line",
        "series_unchanged": "Line of the quarters before the start, had it gone on",
    }
    found = [
        Family(f"series_seen/{place}/{{series}}/{{q}}", "", rows=_series_rows, build=_seen)
        for place in ("facility/series", "unit/{code}/series")
    ]
    for place in ("facility/series", "unit/{code}/series"):
        for head, (words, method) in fits.items():
            found.append(Family(f"{head}/{place}/{{series}}", "", rows=_series_rows, build=_fitted(words, method)))
            found += [
                Family(
                    f"{head}_{limit}/{place}/{{series}}",
                    "",
                    rows=_series_rows,
                    settings=LEVEL,
                    build=_fitted(f"{limit} limit of: {words}", method),
                )
                for limit in ("lower", "upper")
            ]
        for head, words in points.items():
            found.append(Family(f"{head}/{place}/{{series}}/{{q}}", "", rows=_series_rows, build=_fitted(words)))
            found += [
                Family(
                    f"{head}_{limit}/{place}/{{series}}/{{q}}",
                    "",
                    rows=_series_rows,
                    settings=LEVEL,
                    build=_fitted(f"{limit} limit of: {words}"),
                )
                for limit in ("lower", "upper")
            ]
    return tuple(found)


def _spell(tracer: Tracer, is_early: bool) -> Scope:
    """Units that started first, or the others, over the record before the first start."""
    import numpy as np

    from handling_review.evidence.chance_fall import SPELL_QUARTERS

    strata = tracer.strata
    starts = {unit: at for unit, at in strata.starts.items() if at > 0}
    first = min(starts.values())
    middle = float(np.median(sorted(starts.values())))
    early = [unit for unit in strata.units if unit in starts and starts[unit] <= middle]
    units = early if is_early else [unit for unit in strata.units if unit not in early]
    places = list(range(max(0, first - SPELL_QUARTERS), first))
    labels = [strata.quarters[place] for place in places]
    condition = tracer.cells(tracer.series).of_state(0, units, places)
    who = "units that started first" if is_early else "the other units"
    words = f"{who} ({', '.join(units)}), {labels[0]} to {labels[-1]}"
    return Scope(words, (condition,), quarters=one_of("quarter", labels), rules=("go-live",))


def _spell_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    scope = _spell(tracer, parts["side"] == "early")
    return (scope.of_cases(parts["series"]),)


def _spell_hours(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (_spell(tracer, parts["side"] == "early").of_hours(),)


def _spell_words(what: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        words = _spell(tracer, parts["side"] == "early").words
        return Built(words=f"{what} {words.replace('{', '').replace('}', '')}")

    return build


def _early_after(tracer: Tracer) -> Scope:
    import numpy as np

    starts = {unit: at for unit, at in tracer.strata.starts.items() if at > 0}
    middle = float(np.median(sorted(starts.values())))
    early = [unit for unit in tracer.strata.units if unit in starts and starts[unit] <= middle]
    condition = tracer.cells(tracer.series).of_state(1, early)
    return Scope(f"units that started first ({', '.join(early)}), after their start", (condition,), rules=("go-live",))


def _observed(tracer: Tracer, parts: Groups) -> Built:
    scope, end = _early_after(tracer), f"facility/before_first_start/early/{tracer.series}"
    inputs = {
        "cases_after_start": "SQL " + scope.of_cases(tracer.series).query().rstrip(";"),
        "hours_after_start": "SQL " + scope.of_hours().amount_query(),
        "cases_before": f"cases/{end}",
        "hours_before": f"hours/{end}",
    }
    return Built(
        tracer.formula("(cases_after_start / hours_after_start) / (cases_before / hours_before)", inputs),
        rules=("go-live",),
    )


def _observed_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    after, before = _early_after(tracer), _spell(tracer, True)
    return tuple(rows for scope in (after, before) for rows in (scope.of_cases(tracer.series), scope.of_hours()))


def _bad_spell(tracer: Tracer, parts: Groups) -> Built:
    inputs = {
        f"{kind}_{side}": f"{kind}/facility/before_first_start/{side}/{tracer.series}"
        for kind in ("cases", "hours")
        for side in ("early", "rest")
    }
    return Built(tracer.formula("", inputs))


FAMILIES = (
    *_series_families(),
    Family("cases/facility/before_first_start/{side}/{series}", "", rows=_spell_rows,
           build=_spell_words("Count of {what}:")),
    Family("hours/facility/before_first_start/{side}/{series}", "", rows=_spell_hours,
           build=_spell_words("Hours worked:")),
    *(Family(f"rate{kind}/facility/before_first_start/{{side}}/{{series}}",
             f"{words} of {{what}}: {{side}} starters, record before the first start", formula,
             {"cases": "cases/facility/before_first_start/{side}/{series}",
              "hours": "hours/facility/before_first_start/{side}/{series}",
              **({} if not kind else {"confidence": "@analysis.confidence"})}, method=method)
      for kind, words, formula, method in (
          ("", "Rate per 200,000 hours", "cases * 200000 / hours", ""),
          ("_lower", "Lower limit of the rate", "GAMMA_INV((1 - confidence) / 2, cases) * 200000 / hours", "exact"),
          ("_upper", "Upper limit of the rate", "GAMMA_INV(1 - (1 - confidence) / 2, cases + 1) * 200000 / "
                                                "hours", "exact"),
          ("_limit", "One-sided upper limit of the rate", "GAMMA_INV(confidence, cases + 1) * 200000 / "
                                                          "hours", "one_sided"))),
    Family("chance_expected_ratio/facility/before_first_start", "Rate to expect of the units that started first over "
           "their recorded one, with no program at all: {primary}", build=_bad_spell, method="bad_spell"),
    Family("chance_observed_ratio/facility/before_first_start", "Rate of the units that started first after their "
                                                                "start "
           "over their recorded one: {primary}", rows=_observed_rows, build=_observed),
)  # fmt: skip
