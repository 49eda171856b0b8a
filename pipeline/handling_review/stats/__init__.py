"""Pure statistics: numbers in, frozen results out.

A module is loaded when it is first asked for, so one rate does not wait for the regressions.
"""

from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handling_review.stats import bayes as bayes
    from handling_review.stats import bounds as bounds
    from handling_review.stats import casemix as casemix
    from handling_review.stats import charts as charts
    from handling_review.stats import cusum as cusum
    from handling_review.stats import funnel as funnel
    from handling_review.stats import groups as groups
    from handling_review.stats import models as models
    from handling_review.stats import money as money
    from handling_review.stats import multiplicity as multiplicity
    from handling_review.stats import nowcast as nowcast
    from handling_review.stats import pooling as pooling
    from handling_review.stats import power as power
    from handling_review.stats import proportions as proportions
    from handling_review.stats import proposals as proposals
    from handling_review.stats import rates as rates
    from handling_review.stats import ratios as ratios
    from handling_review.stats import series as series
    from handling_review.stats import severity as severity
    from handling_review.stats import shrinkage as shrinkage
    from handling_review.stats import strata as strata
    from handling_review.stats import suppression as suppression
    from handling_review.stats import trend as trend
    from handling_review.stats import worth as worth
else:

    def __getattr__(name: str) -> ModuleType:
        if name in __all__:
            return import_module(f"{__name__}.{name}")
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


__all__ = [
    "bayes",
    "bounds",
    "casemix",
    "charts",
    "cusum",
    "funnel",
    "groups",
    "models",
    "money",
    "multiplicity",
    "nowcast",
    "pooling",
    "power",
    "proportions",
    "proposals",
    "rates",
    "ratios",
    "series",
    "severity",
    "shrinkage",
    "strata",
    "suppression",
    "trend",
    "worth",
]
