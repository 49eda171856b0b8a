"""Made-up care facilities with known truth, from a seed: the sample, the simulations and the large files."""

from handling_review.simulate.facility import Facility, simulate
from handling_review.simulate.plan import Plan, Rates, Ratios, UnitPlan
from handling_review.simulate.write import plan_for_rows, write, write_hours

__all__ = [
    "Facility",
    "Plan",
    "Rates",
    "Ratios",
    "UnitPlan",
    "plan_for_rows",
    "simulate",
    "write",
    "write_hours",
]
