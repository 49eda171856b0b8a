"""Units side by side: against the rest, weighed against their spread, and the funnel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handling_review.trace.family import Builder, Built, Family, Groups

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

LEVEL = ("analysis.confidence",)
OWN = {"cases": "cases/{unit}/all-quarters/{series}", "hours": "hours/{unit}/all-quarters/{series}"}
WHOLE = {"all_cases": "cases/facility/all-quarters/{series}", "all_hours": "hours/facility/all-quarters/{series}"}
REST = "(cases / hours) / ((all_cases - cases) / (all_hours - hours))"


def _all_units(words: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        end = f"all-quarters/{parts['series']}"
        listed = sorted(key.split("/")[1] for key in tracer.output.keys("cases/unit:") if key.endswith(f"/{end}"))
        inputs = {}
        for place, unit in enumerate(listed, start=1):
            inputs[f"cases_{place}"] = f"cases/{unit}/{end}"
            inputs[f"hours_{place}"] = f"hours/{unit}/{end}"
        return Built(tracer.formula("", inputs), words=words, rules=("complete quarters",))

    return build


def _weighed(tracer: Tracer, parts: Groups) -> Built:
    """The unit's own rate and the facility's prior mean, by their weights, once the fit has given these."""
    found = _all_units("Rate of {what} weighed against all units: {where}")(tracer, parts)
    return Built(
        found.formula,
        words=found.words,
        rules=found.rules,
        notes=(
            "Weighed rate = (1 - weight of the whole) x own rate + weight of the whole x mean of the fitted "
            "distribution; the weight is published as weight_of_facility.",
        ),
    )


def _compared(tracer: Tracer, parts: Groups) -> Built:
    """Units with enough cases for a rate."""
    keys = [key for key in tracer.output.keys("ratio/unit:") if "/against_rest/" in key]
    from handling_review.trace.formula import Formula, Input

    inputs = tuple(
        Input(f"unit_{place}", 1, "unit", source=f"{key} is published") for place, key in enumerate(keys, start=1)
    )
    return Built(Formula(" + ".join(one.name for one in inputs) or "0", inputs, "One for each unit with enough cases."))


FAMILIES = (
    Family("ratio/{unit}/against_rest/{series}", "Rate of {what} over that of all other units together: {where}",
           REST, {**OWN, **WHOLE}),
    Family("ratio_{limit}/{unit}/against_rest/{series}", "{limit} limit of the rate of {what} over that of all other "
           "units together: {where}", "", {**OWN, **WHOLE, "units_compared": "units_compared/facility",
                                           "confidence": "@analysis.confidence"},
           method="bonferroni", settings=LEVEL),
    Family("units_compared/facility", "Units with enough cases to be set against the others", build=_compared,
           settings=("thresholds.unreliable_below",)),
    Family("weighed_rate/{unit}/all-quarters/{series}", "", build=_weighed, method="weighed"),
    Family("weighed_{limit}/{unit}/all-quarters/{series}", "",
           build=_all_units("{limit} limit of the weighed rate of {what}: {where}"), method="weighed", settings=LEVEL),
    Family("weight_of_facility/{unit}/all-quarters/{series}", "",
           build=_all_units("Share that the rate of all units has in the weighed rate of {what}: {where}"),
           method="weighed"),
    Family("among_highest/{unit}/all-quarters/{series}", "", build=_all_units(
        "Chance that the unit's true rate is among the highest quarter of the units: {what}, "
        "{where}"), method="weighed"),
    Family("p_adjusted/{unit}/all-quarters/{series}", "", build=_all_units(
        "P-value of the unit against the rest, adjusted for the number of units: {what}, {where}"),
        method="benjamini_hochberg"),
    Family("p_same_rate/units/all-quarters/{series}", "", build=_all_units(
        "P-value of the question whether all units have one rate: {what}"), method="same_rate"),
    Family("funnel_spread/all-quarters/{series}", "", build=_all_units(
        "How far units spread, in times what chance gives: {what}"), method="dispersion"),
    *(Family(f"funnel_{side}_{level}/{{unit}}/all-quarters/{{series}}",
             f"{side.capitalize()} {words} % funnel limit around the facility's rate of {{what}}: {{where}}", "",
             {"facility_rate": "rate/facility/all-quarters/{series}", "hours": "hours/{unit}/all-quarters/{series}"},
             method="funnel")
      for side in ("lower", "upper") for level, words in (("95", "95"), ("998", "99.8"))),
)  # fmt: skip
