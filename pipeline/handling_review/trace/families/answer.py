"""Did it work: other ways of asking, the interrupted series, chance, power, and what the data bound."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from handling_review.trace.family import Builder, Built, Family, Groups
from handling_review.trace.formula import Formula, Input
from handling_review.trace.sides import LADDER

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

LEVEL = ("analysis.confidence",)
BEFORE_AFTER = {
    "cases_after": "cases/facility/after/{series}",
    "hours_after": "hours/facility/after/{series}",
    "cases_before": "cases/facility/before/{series}",
    "hours_before": "hours/facility/before/{series}",
}


def other_ways(tracer: Tracer) -> list[dict[str, str]]:
    """The rows of the sensitivity table but the main one and the repeat of a design."""
    washout = tracer.output.setting("training.washout_days")
    return [row for row in tracer.output.table("sensitivity") if row["question"] not in ("main", f"washout_{washout}")]


def _variant(row: dict[str, str]) -> str:
    return row["question"].removeprefix("design_")


def _sensitivity(kind: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        rows = other_ways(tracer)
        keys = {_variant(row): f"ratio/facility/{_variant(row)}/design/{tracer.series}" for row in rows}
        with_ratio = {
            name: key for name, key in keys.items() if tracer.known(key) and not math.isnan(tracer.value(key))
        }
        verdict = {_variant(row): row["verdict"] for row in rows}
        note = (
            "The rows stand in tables/sensitivity.csv; the program file's own washout repeats one and is not counted."
        )
        if kind in ("lowest", "highest"):
            inputs = tuple(tracer.input(f"by_{name}", key) for name, key in with_ratio.items())
            listed = ", ".join(one.name for one in inputs)
            return Built(Formula(f"{'MIN' if kind == 'lowest' else 'MAX'}({listed})", inputs), notes=(note,))
        chosen = list(keys)
        if kind == "with_answer":
            chosen = list(with_ratio)
        elif kind == "same_side":
            main = next(row for row in tracer.output.table("sensitivity") if row["question"] == "main")
            below = float(main["rate_ratio"]) < 1
            chosen = [name for name, key in with_ratio.items() if (tracer.value(key) < 1) == below]
        elif kind != "rows":
            chosen = [name for name in with_ratio if verdict[name] == kind]
        words = ", ".join(name.replace("_", " ") for name in chosen) or "none"
        inputs = tuple(
            Input(name, 1, "row", keys[name] if name in with_ratio else "", "tables/sensitivity.csv") for name in chosen
        )
        inputs = tuple(
            replace(one, key="", source=f"{one.key or 'no ratio'} in tables/sensitivity.csv") for one in inputs
        )
        return Built(
            Formula(" + ".join(one.name for one in inputs) or "0", inputs, f"One for each: {words}."), notes=(note,)
        )

    return build


def _bands(tracer: Tracer, parts: Groups) -> Built:
    names = ("0-3_months", "3-6_months", "6-12_months", "12-24_months", "over_24_months")
    inputs = {}
    for name in names:
        for kind in ("cases", "hours"):
            inputs[f"{kind}_{name.replace('-', '_to_')}"] = f"{kind}/facility/since_training/{name}/{parts['series']}"
    return Built(tracer.formula("", inputs), rules=("training", "complete quarters"))


def _of_lead(expression: str, extra: dict[str, str]) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        end = f"facility/{_lead(tracer)}/design/{parts['series']}"
        keys = {"ratio": f"ratio/{end}", "lower": f"ratio_lower/{end}", "upper": f"ratio_upper/{end}"}
        return Built(
            tracer.formula(
                expression,
                {
                    **(keys if "ratio" in expression else {}),
                    **extra,
                    **(
                        {}
                        if expression
                        else {
                            "cases_with": f"cases_with/{end}",
                            "hours_with": f"hours_with/{end}",
                            "cases_without": f"cases_without/{end}",
                            "hours_without": f"hours_without/{end}",
                        }
                    ),
                },
            )
        )

    return build


def _bounds(side: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        phase = "before" if side == "best" else "after"
        inputs = {name: key.format(**parts) for name, key in BEFORE_AFTER.items()}
        added = ["unusable_rows"]
        inputs["unusable_rows"] = "rows_set_aside/incidents"
        if parts["series"] == "handling":
            inputs[f"undecided_{phase}"] = f"cases/facility/{phase}/unclassified"
            added.append(f"undecided_{phase}")
        extra = " + ".join(added)
        after = f"(cases_after + {extra})" if side == "worst" else "cases_after"
        before = f"(cases_before + {extra})" if side == "best" else "cases_before"
        expression = "" if "limit" in parts else f"({after} / hours_after) / ({before} / hours_before)"
        favour = "for the program (all before)" if side == "best" else "against the program (all after)"
        what = f"{parts['limit']} limit of the ratio" if "limit" in parts else "Ratio"
        return Built(
            tracer.formula(expression, inputs),
            words=f"{what} after to before training with every undecided or unusable record counted {favour}: {{what}}",
            method="bounds" if "limit" in parts else "",
            rules=("training", "complete quarters"),
        )

    return build


def _undecided_all(tracer: Tracer, parts: Groups) -> Built:
    names = {"before": "cases/facility/before/unclassified", "after": "cases/facility/after/unclassified"}
    if tracer.series != "handling":
        sense = "The series asked about does not depend on what was handling: none."
        return Built(tracer.formula("0", {}, sense))
    return Built(tracer.formula("before + after", names))


def _comparisons(tracer: Tracer, parts: Groups) -> Built:
    """Every ratio that is printed, each comparison once."""
    keys = tracer.output.keys("ratio/facility/")
    ways = {_variant(row) for row in other_ways(tracer)} - set(LADDER)
    designs = [
        key for key in keys if "/design/" in key and key.split("/")[2] in LADDER and key.split("/")[2] != LADDER[0]
    ]
    others = [key for key in keys if "/design/" in key and key.split("/")[2] in ways]
    shown = [key for key in keys if "/design/" not in key and not key.startswith("ratio/facility/unclassified_")]
    starts = tracer.output.keys("series_step/unit/")
    counted = {"designs": designs, "other_ways": others, "own_starts": starts, "before_after_and_quarters": shown}
    inputs = tuple(
        Input(name, len(listed), "ratios", source=f"published ratios: {', '.join(listed) or 'none'}")
        for name, listed in counted.items()
    )
    inputs += (
        Input(
            "bounds", 5, "ratios", source="undecided cases all counted, before only, after only; all for and against"
        ),
        tracer.input("units_compared", "units_compared/facility"),
    )
    return Built(Formula(" + ".join(one.name for one in inputs), inputs, "A comparison printed twice is counted once."))


def _study(kind: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        from handling_review.evidence.study import rows

        design = parts.get("design") or str(_lead(tracer))
        lines = [
            (line, row)
            for line, row in enumerate(rows(), start=2)
            if row["design"] == design and float(row["effect"]) == 1
        ]

        def share(one: tuple[int, dict[str, str]]) -> float:
            return float(one[1]["says_lower"])

        falling = max([one for one in lines if float(one[1]["yearly_change"]) < 0] or lines, key=share)
        chosen = {
            "trend": falling,
            "chance": next((one for one in lines if "worst units first" in one[1]["scenario"]), falling),
            "worst": max(lines, key=share),
        }
        line, row = chosen.get(kind, chosen["worst"])
        column = "facilities" if kind == "facilities" else "says_lower"
        source = f"reports/design_study.csv of the program, line {line} ({row['scenario']}), column {column}"
        return Built(Formula(column, (Input(column, float(row[column]), source=source),)))

    return build


def _lead(tracer: Tracer) -> str:
    return next((row["design"] for row in tracer.output.table("designs") if row["is_main"] == "True"), LADDER[0])


FAMILIES = (
    Family("setting/target_ratio", "The ratio that the target reduction stands for", "1 - target_reduction",
           {"target_reduction": "@analysis.target_reduction"}),
    Family("setting/target_reduction", "The reduction under test, fixed in the program file", "target_reduction",
           {"target_reduction": "@analysis.target_reduction"}),
    Family("setting/refresher_months", "Months after which training lapses without a refresher", "refresher_months",
           {"refresher_months": "@training.refresher_months"}),
    Family("study/facilities", "Made-up facilities in each scenario of the study of designs", method="study",
           build=_study("facilities")),
    Family("study/trend_false_lower/{design}", "Largest share of made-up facilities in which the design {design} said "
           "lower while rates fell everywhere and the program did nothing", method="study", build=_study("trend")),
    Family("study/chance_false_lower/{design}", "Share of made-up facilities in which the design {design} said lower "
           "where the worst units started first and nothing changed", method="study", build=_study("chance")),
    Family("study/worst_false_lower/{design}", "Largest share of made-up facilities in which the design {design} said "
           "lower although the program did nothing", method="study", build=_study("worst")),
    *(Family(f"sensitivity_{kind}/facility", words, build=_sensitivity(kind)) for kind, words in {
        "rows": "Other ways of asking", "with_answer": "Other ways of asking that have a ratio",
        "same_side": "Other ways of asking whose ratio lies on the same side of 1 as the main one",
        "lower": "Other ways of asking that say lower", "higher": "Other ways of asking that say higher",
        "cannot_tell": "Other ways of asking that cannot tell", "lowest": "Lowest ratio of the other ways of asking",
        "highest": "Highest ratio of the other ways of asking"}.items()),
    Family("step_ratio/facility/since_training/{series}",
           "Ratio of the rate from one band of time since training to the next: {what}", build=_bands, method="trend"),
    Family("step_ratio_{limit}/facility/since_training/{series}",
           "{limit} limit of the ratio of the rate from one band of time since training to the next: {what}",
           build=_bands, method="trend", settings=LEVEL),
    Family("p_value/facility/since_training/{series}", "P-value (two-sided) of the trend over time since training: "
                                                       "{what}",
           build=_bands, method="trend"),
    Family("smallest_fall/facility/power_left/{series}", "Smallest fall that the leading comparison would find four "
                                                         "times "
           "in five: {what}", build=_of_lead("", {}), method="smallest_fall", settings=LEVEL),
    Family("chance_target_met/facility/power_left/{series}", "Chance that the true fall is at least the target, before "
           "and after taken at face value: {what}", "", {**BEFORE_AFTER, "target": "setting/target_reduction"},
           method="target_met"),
    Family("chance_target_met_lead/facility/power_left/{series}", "Chance that the true fall is at least the target, "
                                                                  "by "
           "the leading comparison: {what}",
           build=_of_lead("NORM_S_DIST((LN(target) - LN(ratio)) / ((LN(upper) - LN(lower)) / (2 * NORM_S_INV((1 + "
                          "confidence) / 2))))",
                          {"target": "setting/target_ratio", "confidence": "@analysis.confidence"}),
           sense="The logarithm of the ratio is taken as normal with the distance of its limits."),
    Family("cases_before_wanted/facility/power_left/{series}", "Expected cases before that equal hours after would "
                                                               "need "
           "to find the target four times in five", "", {"target": "setting/target_ratio"}, method="power"),
    Family("hours_still_needed/facility/power_left/{series}", "Hours after training still to come before a plain "
           "comparison finds the target four times in five: {what}", "",
           {**BEFORE_AFTER, "target": "setting/target_ratio"}, method="power"),
    Family("cases_expected/facility/power_left/{series}", "Cases that the hours still needed would bring if the target "
           "were met: {what}", "",
           {"hours_needed": "hours_still_needed/facility/power_left/{series}", "target": "setting/target_ratio",
            **{n: k for n, k in BEFORE_AFTER.items() if n.endswith("before")}}, method="power"),
    Family("quarters_still_needed/facility/power_left/{series}", "Quarters at the present pace until the hours still "
           "needed are there: {what}", "",
           {"hours_needed": "hours_still_needed/facility/power_left/{series}",
            "hours_a_quarter": "hours/facility/latest-quarter/after"}, method="power"),
    *(Family(f"ratio_{side}/facility/data_bounds/{{series}}", "", build=_bounds(side)) for side in ("best", "worst")),
    *(Family(f"ratio_{side}_{{limit}}/facility/data_bounds/{{series}}", "", build=_bounds(side), settings=LEVEL)
      for side in ("best", "worst")),
    Family("cases_unclassified/facility", "Undecided cases before and after training together", build=_undecided_all),
    Family("comparisons/review", "Times that two rates are set against each other in this review", build=_comparisons),
)  # fmt: skip
