"""The public names of the statistics, and how little loading them costs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from handling_review import stats

NAMES = {
    "bayes": ("reduction_probability", "ratio_quantiles"),
    "bounds": ("ratio_bounds",),
    "casemix": ("ratio_of_ratios",),
    "charts": ("u_limits", "days_between", "signals", "poisson_cusum"),
    "cusum": ("run_length",),
    "funnel": ("limits", "dispersion"),
    "groups": ("difference_in_differences",),
    "models": ("poisson_ratio", "ModelRatio"),
    "money": ("npv", "payback", "budget_case"),
    "multiplicity": ("benjamini_hochberg",),
    "nowcast": ("late_cases", "reported_within"),
    "pooling": ("conditional", "inverse_variance", "log_ratios"),
    "power": ("power", "events_needed", "smallest_detectable"),
    "proportions": ("wilson", "newcombe"),
    "proposals": ("judge", "best_sets"),
    "rates": ("rate", "count_interval", "rate_interval", "Interval"),
    "ratios": ("rate_ratio", "rate_difference", "cases_avoided", "Ratio", "Difference"),
    "series": ("interrupted",),
    "severity": ("compound_rate",),
    "shrinkage": ("gamma_poisson", "Prior"),
    "strata": ("mantel_haenszel", "exact_common_ratio", "StratifiedRatio"),
    "suppression": ("suppress",),
    "trend": ("annual_change",),
    "worth": ("worth", "worth_of_rates"),
}


@pytest.mark.parametrize("module", NAMES)
def test_every_public_name_is_there(module: str) -> None:
    found = getattr(stats, module)
    assert [name for name in NAMES[module] if not callable(getattr(found, name))] == []


def test_every_module_without_an_underscore_is_public() -> None:
    on_disk = {path.stem for path in Path(stats.__file__).parent.glob("[!_]*.py")}
    assert on_disk == set(stats.__all__) == set(NAMES)


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        _ = stats.nonsense


@pytest.mark.parametrize(
    ("statement", "unwanted"),
    [
        ("import handling_review.stats", ("numpy", "scipy")),
        ("from handling_review.stats import proportions, rates, ratios", ("scipy.stats", "scipy.optimize")),
        ("from handling_review.stats import *", ("scipy.stats", "statsmodels", "pandas")),
    ],
)
def test_heavy_libraries_wait_until_they_are_used(statement: str, unwanted: tuple[str, ...]) -> None:
    code = f"{statement}\nimport sys\nprint([name for name in {unwanted!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
