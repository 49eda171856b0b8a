"""What a case costs, what the program cost and was worth, and what each proposal would have to do."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

from handling_review.trace.family import Builder, Built, Family, Groups, Rows
from handling_review.trace.formula import Formula
from handling_review.trace.selection import Selection

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

_AGE = "coalesce(cost_as_of, (SELECT as_of FROM settings)) - event_date {} (SELECT claim_age_days FROM settings)"
_STATED = ("money.owner", "money.stated_on")


def _series(tracer: Tracer) -> tuple[str, ...]:
    return ("is_recordable", "is_handling") if tracer.series == "handling" else ("is_recordable",)


def _claims(sign: str, words: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        return (
            Selection(
                title=words,
                file="incidents",
                table="int_cases",
                where=(*_series(tracer), "claim_cost IS NOT NULL", _AGE.format(sign)),
                unit="claims",
                note="What single claims cost is not printed; it stands in the log at these lines.",
            ),
        )

    return rows


_old_claims = _claims(">=", "cases with a claim that is old enough, all days of the review")


def _claim_sum(tracer: Tracer, what: str) -> str:
    where = " AND ".join((*_series(tracer), "claim_cost IS NOT NULL", _AGE.format(">=")))
    return f"SQL SELECT CAST({what} AS DOUBLE) FROM int_cases WHERE {where}"


def _is_stated(tracer: Tracer) -> bool:
    return all(tracer.output.setting(f"money.cost_{name}") is not None for name in ("low", "base", "high"))


def _cost(name: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        words = {
            "low": "Low figure of what a case costs",
            "base": "What a case is taken to cost",
            "high": "High figure of what a case costs",
            "largest": "The largest claim",
            "without_largest": "Mean cost of a case without the largest claim",
        }[name]
        if _is_stated(tracer):
            return Built(tracer.formula("stated", {"stated": f"@money.cost_{name}"}), words=f"{words} (program file)")
        claims = {"claims": "claims/handling"}
        if name in ("low", "high"):
            return Built(tracer.formula("", {**claims, "mean": "cost_base/case"}), words=words, method="claims")
        total = {"all_claims": _claim_sum(tracer, "sum(claim_cost)")}
        if name == "base":
            return Built(
                tracer.formula("all_claims / claims", {**total, **claims}), words=f"{words}: the mean of own claims"
            )
        if name == "largest":
            return Built(tracer.formula("largest", {"largest": _claim_sum(tracer, "max(claim_cost)")}), words=words)
        inputs = {**total, "largest": "cost_largest/case", **claims}
        return Built(tracer.formula("(all_claims - largest) / (claims - 1)", inputs), words=words)

    return build


def _cost_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return () if _is_stated(tracer) else _old_claims(tracer, parts)


def _lead(tracer: Tracer) -> str:
    rows = tracer.output.table("designs")
    return next((row["design"] for row in rows if row["is_main"] == "True"), "before_after")


def _avoided(tracer: Tracer, parts: Groups) -> Built:
    design, limit = parts["design"], parts.get("limit", "")
    what = f"{limit} limit of the cases" if limit else "Cases"
    words = f"{what} avoided so far by the comparison {design.replace('_', ' ')}: {{primary}}"
    end = f"facility/{design}/design/{tracer.series}"
    known = [tracer.output.numbers.get(f"ratio{part}/{end}") for part in ("", "_lower", "_upper")]
    finite = all(one is not None and one.value is not None and 0 < one.value < 1000 for one in known)
    if design == _lead(tracer) and finite:
        other = {"": "", "lower": "_upper", "upper": "_lower"}[limit]
        inputs = {"cases_with": f"cases_with/{end}", "ratio": f"ratio{other}/{end}"}
        sense = "Without the program the same hours would have had cases / ratio."
        return Built(tracer.formula("cases_with * (1 / ratio - 1)", inputs, sense), words=words)
    key = f"cases_avoided{'_' + limit if limit else ''}/facility/before_after/{tracer.series}"
    return Built(tracer.formula("avoided", {"avoided": key}), words=words)


def _factor(tracer: Tracer, claims: str) -> tuple[str, dict[str, str]]:
    if tracer.output.setting("money.indirect_multiplier") and claims != "direct-costs-only":
        return " * (1 + indirect)", {"indirect": "@money.indirect_multiplier"}
    return "", {}


def _saving(tracer: Tracer, parts: Groups) -> Built:
    end = f"program/{parts['design']}/{parts['claims']}"
    cost = "cost_without_largest/case" if parts["claims"] == "without-the-largest-claim" else "cost_base/case"
    factor, more = _factor(tracer, parts["claims"])
    inputs = {"avoided": f"worth_avoided/{end}", "cost_of_a_case": cost, **more}
    limit = parts.get("limit", "")
    way = f"{parts['design'].replace('_', ' ')}, {parts['claims'].replace('-', ' ')}"
    words = f"What the cases avoided so far are worth by {way}"
    if limit:
        return Built(tracer.formula("", inputs), words=f"{limit} limit of: {words}", method="worth")
    return Built(tracer.formula(f"avoided * cost_of_a_case{factor}", inputs), words=words)


def _net(tracer: Tracer, parts: Groups) -> Built:
    end = f"program/{parts['design']}/{parts['claims']}"
    inputs = {"saving": f"saving/{end}", "spent": "program_cost/total"}
    words = (
        f"Saving less what the program cost by {parts['design'].replace('_', ' ')}, {parts['claims'].replace('-', ' ')}"
    )
    limit = parts.get("limit", "")
    if limit:
        what = "Chance that it is above nothing" if limit == "positive" else f"{limit} limit"
        return Built(tracer.formula("", inputs), words=f"{what}: {words}", method="worth")
    return Built(tracer.formula("saving - spent", inputs), words=words)


def _unit(tracer: Tracer, number: str) -> str:
    wanted = " ".join(str(tracer.output.setting(f"proposals.{number}.unit")).split()).casefold()
    for code, name in tracer.output.rows("SELECT unit, name FROM out_units ORDER BY name, unit"):
        if wanted in (str(code).casefold(), str(name).casefold()):
            return f"unit:{quote(str(code), safe='')}"
    return ""


def _named(tracer: Tracer, parts: Groups, words: str) -> str:
    name = str(tracer.output.setting(f"proposals.{parts['n']}.name")).replace("{", "(").replace("}", ")")
    return f"{words}: proposal {parts['n']}, {name}"


def _life(tracer: Tracer, parts: Groups) -> Built:
    own = tracer.output.setting(f"proposals.{parts['n']}.life_years")
    source = f"@proposals.{parts['n']}.life_years" if own else "@money.horizon_years"
    return Built(tracer.formula("years", {"years": source}), words=_named(tracer, parts, "Years of life"))


def _addressed(tracer: Tracer, parts: Groups) -> Built:
    unit, series = _unit(tracer, parts["n"]), tracer.series
    limit = parts.get("limit", "")
    rate = f"weighed_{limit or 'rate'}/{unit}/all-quarters/{series}"
    if not tracer.known(rate):
        rate = f"rate{'_' + limit if limit else ''}/facility/all-quarters/{series}"
    inputs = {
        "rate": rate,
        "hours": f"hours/{unit}/four-quarters/{series}",
        "share": f"@proposals.{parts['n']}.share_addressed",
    }
    what = f"{limit} limit of the cases a year" if limit else "Cases a year"
    return Built(
        tracer.formula("rate * hours / 200000 * share", inputs),
        words=_named(tracer, parts, f"{what} of the kind that it addresses"),
    )


def _of_proposal(words: str, expression: str, inputs: dict[str, str], method: str = "") -> Builder:
    """A figure of one proposal; ``ANNUITY`` and ``FACTOR`` in the expression are filled in."""

    def build(tracer: Tracer, parts: Groups) -> Built:
        rate = int(parts["rate"]) / 100 if "rate" in parts else 0.03
        years = parts.get("upto", "life")
        annuity = years if rate == 0 else f"((1 - (1 + {rate}) ** -{years}) / {rate})"
        given = {name: source.format(**parts) for name, source in inputs.items()}
        if "upto" in parts:
            given.pop("life", None)
        factor, more = _factor(tracer, "")
        if "FACTOR" in expression:
            given.update(more)
        text = expression.replace("ANNUITY", annuity).replace(" * FACTOR", factor)
        if "/ FACTOR" in text:
            text = text.replace(" / FACTOR", " / (1 + indirect)")
        at = f" at {parts['rate']} % a year" if "rate" in parts else ""
        limit = f"{parts['limit']} limit of: " if "limit" in parts else ""
        upto = f" up to year {parts['upto']}" if "upto" in parts else ""
        return Built(
            tracer.formula(text, given), words=_named(tracer, parts, f"{limit}{words}{at}{upto}"), method=method
        )

    return build


_OUTLAY = {"outlay": "outlay/proposal:{n}", "service": "yearly_service/proposal:{n}", "life": "life/proposal:{n}"}
_SAVING = {"saving": "yearly_saving/proposal:{n}"}
_FLOWS = {**_OUTLAY, **_SAVING}
_COST = {"cost_of_a_case": "cost_base/case"}


def _ends(side: str, lever: str) -> Builder:
    """Present value with one assumption, or all of them, at an end."""

    def build(tracer: Tracer, parts: Groups) -> Built:
        n = parts["n"]
        limit = {"low": "lower", "high": "upper"}[side]
        moved = ("cases-addressed", "reduction", "cost-of-a-case") if lever == "all" else (lever,)
        cases = f"addressed_{limit}" if "cases-addressed" in moved else "addressed"
        effect = f"reduction_{side}" if "reduction" in moved else "reduction_base"
        cost = f"cost_{side}/case" if "cost-of-a-case" in moved else "cost_base/case"
        words = f"Present value with {'all figures' if lever == 'all' else lever.replace('-', ' ')} at the {side} end"
        inputs = {
            **_OUTLAY,
            "addressed": f"{cases}/proposal:{{n}}",
            "reduction": f"@proposals.{n}.{effect}",
            "cost_of_a_case": cost,
        }
        drawn = "cost-of-a-case" in moved and not _is_stated(tracer)
        expression = "" if drawn else "(addressed * reduction * cost_of_a_case * FACTOR - service) * ANNUITY - outlay"
        return _of_proposal(words, expression, inputs, "all_claims_low" if drawn else "")(tracer, parts)

    return build


def _best(what: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        by = parts["by"]
        inputs = {"budget": "budget/stated"}
        for place in range(1, len(tracer.output.setting("proposals")) + 1):
            gain = f"avoided/proposal:{place}" if by == "cases" else f"npv/proposal:{place}/3"
            if tracer.known(gain):
                inputs[f"outlay_{place}"] = f"outlay/proposal:{place}"
                inputs[f"gain_{place}"] = gain
        aim = "cases avoided a year" if by == "cases" else "present value at 3 %"
        return Built(
            tracer.formula("", inputs),
            words=f"{what} of the set of proposals with the most {aim} within the budget",
            method="best_set",
        )

    return build


_WAY = "program/{design}/{claims}"
FAMILIES = (
    Family("claims/handling", "Claims old enough to be set side by side", rows=_old_claims,
           settings=("money.claim_age_days", "analysis.series")),
    Family("claims_too_young/handling", "Claims not old enough to be set beside the others",
           rows=_claims("<", "cases with a claim that is not old enough, all days of the review"),
           settings=("money.claim_age_days",)),
    *(Family(f"cost_{name}/case", "", build=_cost(name), rows=_cost_rows, settings=_STATED)
      for name in ("low", "base", "high", "largest", "without_largest")),
    Family("program_cost/hours_in_class", "Hours in class", "classes * hours_per_completion",
           {"classes": "classes/facility", "hours_per_completion": "@money.hours_per_completion"}, settings=_STATED),
    Family("program_cost/wages", "Wages for hours in class", "hours * wage_per_hour",
           {"hours": "program_cost/hours_in_class", "wage_per_hour": "@money.wage_per_hour"}, settings=_STATED),
    Family("program_cost/materials", "Materials for classes", "classes * materials_per_completion",
           {"classes": "classes/facility", "materials_per_completion": "@money.materials_per_completion"},
           settings=_STATED),
    Family("program_cost/other", "What else the program cost", "other_costs", {"other_costs": "@money.other_costs"},
           settings=_STATED),
    Family("program_cost/total", "What the program has cost so far", "wages + materials + other",
           {name: f"program_cost/{name}" for name in ("wages", "materials", "other")}),
    Family(f"worth_avoided/{_WAY}", "", build=_avoided),
    Family(f"worth_avoided_{{limit}}/{_WAY}", "", build=_avoided, settings=("analysis.confidence",)),
    Family(f"saving/{_WAY}", "", build=_saving),
    Family(f"saving_{{limit}}/{_WAY}", "", build=_saving, settings=("analysis.confidence",)),
    Family(f"net/{_WAY}", "", build=_net),
    Family(f"net_{{limit}}/{_WAY}", "", build=_net, settings=("analysis.confidence",)),
    Family(f"net_positive/{_WAY}", "", build=lambda t, p: _net(t, {**p, "limit": "positive"})),
    Family("life/proposal:{n}", "", build=_life),
    Family("outlay/proposal:{n}", "", build=_of_proposal(
        "Paid at the start", "quantity * unit_cost",
        {"quantity": "@proposals.{n}.quantity", "unit_cost": "@proposals.{n}.unit_cost"})),
    Family("yearly_service/proposal:{n}", "", build=_of_proposal(
        "Paid each year for service", "service", {"service": "@proposals.{n}.yearly_service"})),
    Family("yearly_cost/proposal:{n}", "", build=_of_proposal(
        "Outlay and service spread evenly over its life at 3 % a year", "outlay / ANNUITY + service", _OUTLAY)),
    Family("addressed/proposal:{n}", "", build=_addressed),
    Family("addressed_{limit}/proposal:{n}", "", build=_addressed),
    Family("avoided/proposal:{n}", "", build=_of_proposal(
        "Cases a year that it is expected to avoid", "addressed * reduction",
        {"addressed": "addressed/proposal:{n}", "reduction": "@proposals.{n}.reduction_base"})),
    Family("avoided_{limit}/proposal:{n}", "", build=_of_proposal(
        "Cases a year that it is expected to avoid", "",
        {"addressed": "addressed/proposal:{n}", "reduction_low": "@proposals.{n}.reduction_low",
         "reduction_base": "@proposals.{n}.reduction_base", "reduction_high": "@proposals.{n}.reduction_high"},
        "proposal")),
    Family("yearly_saving/proposal:{n}", "", build=_of_proposal(
        "Saving a year", "avoided * cost_of_a_case * FACTOR", {"avoided": "avoided/proposal:{n}", **_COST})),
    Family("yearly_saving_{limit}/proposal:{n}", "", build=_of_proposal(
        "Saving a year", "", {"avoided": "avoided/proposal:{n}", **_COST}, "proposal")),
    Family("payback/proposal:{n}", "", build=_of_proposal(
        "Years until it has paid for itself (no limit: not within its life)",
        "WITHIN(outlay / (saving - service), life)", _FLOWS)),
    Family("npv/proposal:{n}/{rate}", "", build=_of_proposal(
        "Net present value", "(saving - service) * ANNUITY - outlay", _FLOWS)),
    Family("npv_{limit}/proposal:{n}/{rate}", "", build=_of_proposal("Net present value", "", _FLOWS, "proposal")),
    Family("npv_all_low/proposal:{n}/{rate}", "", build=_ends("low", "all")),
    Family("npv_all_high/proposal:{n}/{rate}", "", build=_ends("high", "all")),
    Family("benefit_cost/proposal:{n}/{rate}", "", build=_of_proposal(
        "Present value of the savings over that of all costs", "saving * ANNUITY / (outlay + service * "
                                                               "ANNUITY)", _FLOWS)),
    Family("benefit_cost_{limit}/proposal:{n}/{rate}", "", build=_of_proposal(
        "Present value of the savings over that of all costs", "", _FLOWS, "proposal")),
    Family("discounted_payback/proposal:{n}/{rate}", "", build=_of_proposal(
        "Years until savings less service, brought to the present, make up the outlay", "", _FLOWS, "payback")),
    Family("pays_back/proposal:{n}/{rate}", "", build=_of_proposal(
        "Chance that it pays for itself", "", _FLOWS, "proposal")),
    Family("break_even/proposal:{n}/{rate}", "", build=_of_proposal(
        "Cases a year that it must avoid to pay for itself", "(outlay / ANNUITY + service) / (cost_of_a_case * FACTOR)",
        {**_OUTLAY, **_COST})),
    Family("npv_to_year/proposal:{n}/{rate}/{upto}", "", build=_of_proposal(
        "Net present value", "(saving - service) * ANNUITY - outlay", _FLOWS)),
    Family("npv_direct_only/proposal:{n}", "", build=_of_proposal(
        "Net present value at 3 % a year, direct costs only", "(saving / FACTOR - service) * ANNUITY - "
                                                              "outlay", _FLOWS)),
    *(Family(f"lever_{side}/proposal:{{n}}/{lever}", "", build=_ends(side, lever))
      for side in ("low", "high") for lever in ("cases-addressed", "reduction", "cost-of-a-case")),
    Family("discount_rate/{rate}", "Yearly discount rate: 0, 3, 5, 7 and 10 % are looked at; 3 and 7 % are "
                                   "public-sector "
           "convention", build=lambda t, p: Built(Formula(f"{p['rate']} / 100", ()))),
    Family("budget/stated", "The budget that the program file states", "budget", {"budget": "@money.budget"},
           settings=_STATED),
    Family("best_outlay/{by}", "", build=_best("Outlay")),
    Family("best_total/{by}", "", build=_best("Total")),
    Family("best_ties/{by}", "", build=_best("Other sets as good as the best one: number beyond the first")),
)  # fmt: skip
