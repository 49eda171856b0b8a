"""Flat rows of the budget case."""

from __future__ import annotations

from collections.abc import Iterable

from handling_review.evidence.assemble import Review
from handling_review.evidence.export_columns import Row, estimate_columns, value

WORTH = ("design", "cost_of_a_case")
PROPOSALS = ("number", "proposal", "unit", "equipment", "outlay", "yearly_service", "life_years")


def worth_header(level: str) -> tuple[str, ...]:
    """Columns of the worth table."""
    return (
        *WORTH, *_ranged("cases_avoided", level), *_ranged("saving", level), *_ranged("saving_minus_cost", level),
        "share_above_nothing",
    )  # fmt: skip


def worth(review: Review, level: str) -> Iterable[Row]:
    """What the program has been worth, by comparison."""
    for row in review.budget.worth.rows:
        yield {
            "design": row.design,
            "cost_of_a_case": row.claims,
            **estimate_columns("cases_avoided", row.avoided, level),
            **estimate_columns("saving", row.saving, level),
            **estimate_columns("saving_minus_cost", row.net, level),
            "share_above_nothing": value(row.share_positive),
        }


def proposals_header(level: str) -> tuple[str, ...]:
    """Columns of the proposals table."""
    return (
        *PROPOSALS,
        *_ranged("cases_addressed_a_year", level),
        *_ranged("cases_avoided_a_year", level),
        "discount_rate",
        *_ranged("net_present_value", level),
        *("all_figures_low", "all_figures_high"),
        *_ranged("benefit_cost_ratio", level),
        *("discounted_payback_years", "break_even_cases_a_year", "share_paying_back", "not_judged_because"),
    )


def proposals(review: Review, level: str) -> Iterable[Row]:
    """Each proposal at each discount rate; one row without a rate where it cannot be judged."""
    for row in review.budget.proposals:
        start: Row = {
            "number": row.number,
            "proposal": row.stated.name,
            "unit": row.unit_name,
            "equipment": row.stated.equipment,
            "outlay": row.outlay.value,
            "yearly_service": row.yearly_service.value,
            "life_years": row.years,
            **estimate_columns("cases_addressed_a_year", row.addressed, level),
            **estimate_columns("cases_avoided_a_year", row.avoided, level),
        }
        for one in row.at_rates or (None,):
            yield {
                **start,
                "discount_rate": value(one.rate) if one else None,
                **estimate_columns("net_present_value", one.npv if one else None, level),
                "all_figures_low": value(one.low) if one else None,
                "all_figures_high": value(one.high) if one else None,
                **estimate_columns("benefit_cost_ratio", one.benefit_cost if one else None, level),
                "discounted_payback_years": value(one.discounted_payback) if one else None,
                "break_even_cases_a_year": value(one.break_even) if one else None,
                "share_paying_back": value(one.pays_back) if one else None,
                "not_judged_because": row.reason,
            }


def _ranged(name: str, level: str) -> tuple[str, ...]:
    return name, f"{name}_lower_{level}", f"{name}_upper_{level}"
