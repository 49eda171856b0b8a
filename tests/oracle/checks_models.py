"""Our side of the reference cases on strata, regression, probabilities, power and many units."""

from __future__ import annotations

import csv
import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy import special

from handling_review.stats import bayes, models, multiplicity, power, ratios, shrinkage, strata

HERE = Path(__file__).parent
BASE = 200_000
METHODS = {"exact": "exact", "midp": "mid_p"}
Pairs = dict[str, tuple[Any, Any]]


def stratified(case: dict[str, Any]) -> Pairs:
    inputs, expected = case["inputs"], case["expected"]
    four = [inputs[name] for name in ("events1", "hours1", "events0", "hours0")]
    confidence = inputs.get("conf", 0.95)
    found = strata.mantel_haenszel(*four, confidence)
    gap = strata.mantel_haenszel_difference(*four, confidence)
    pairs: Pairs = {}
    if "rr_mh" in expected:  # printed values only
        pairs["ratio"] = (found.estimate, expected["rr_mh"])
        if "ci_rr_mh" in expected:
            pairs["interval"] = ([found.lower, found.upper], expected["ci_rr_mh"])
        if "rd_mh_per_100000" in expected:
            pairs["difference"] = (gap.estimate / BASE * 100_000, expected["rd_mh_per_100000"])
        return pairs
    reference = expected["mh"]
    pairs["ratio"] = (found.estimate, reference["rr_mh"])
    pairs["difference"] = (gap.estimate / BASE, reference["rd_mh"])
    pairs["difference interval"] = ([gap.lower / BASE, gap.upper / BASE], reference["ci_rd_mh"])
    if math.isfinite(reference["var_log_rr"]):  # else ours is the exact interval, checked below
        z = special.ndtri((1 + confidence) / 2)
        error = math.log(found.upper / found.lower) / (2 * z)
        pairs["interval"] = ([found.lower, found.upper], reference["ci_rr_mh"])
        pairs["variance"] = (error**2, reference["var_log_rr"])
    if expected["homogeneity"]:
        same = expected["homogeneity"]
        pairs["homogeneity"] = (
            [found.homogeneity_statistic, found.homogeneity_df, found.homogeneity_p],
            [same["lr_deviance"], same["df"], same["p_lr"]],
        )
    exact = expected["exact_conditional"]
    for name, method in METHODS.items():
        ours = strata.exact_common_ratio(*four, confidence, method)
        pairs[f"conditional {name}"] = ([ours.lower, ours.upper], exact[name])
        pairs[f"p {name}"] = (ours.p_value, exact["p_central" if name == "exact" else "p_midp"])
        pairs["conditional estimate"] = (ours.estimate, exact["cmle"])
    crude = ratios.rate_ratio(*(sum(values) for values in four), confidence, "exact")
    pairs["crude"] = (
        [crude.estimate, crude.lower, crude.upper],
        [expected["crude"]["rr"], *expected["crude"]["exact"]],
    )
    return pairs


def regression(case: dict[str, Any]) -> Pairs:
    inputs, expected = case["inputs"], case["expected"]
    if "csv" not in inputs:
        one = models.poisson_ratio(
            [inputs["events1"], inputs["events0"]],
            [inputs["hours1"], inputs["hours0"]],
            [1, 0],
            method="poisson",
        )
        return {
            "ratio": (one.estimate, expected["ratio"]),
            "interval": ([one.lower, one.upper], expected["wald_log"]),
        }
    rows, exposure, factors = _table(inputs["csv"], inputs["formula"])
    common = {"factors": factors, "events_per_parameter": 0}
    plain = models.poisson_ratio(*rows, method="poisson", **common)
    pairs: Pairs = {
        "log ratio": (math.log(plain.estimate), expected["coef"][exposure]),
        "standard error": (plain.standard_error, expected["se_model"][exposure]),
        "dispersion": (plain.dispersion, expected["phi_pearson"]),
        "parameters": (plain.n_parameters, len(expected["coef"])),
    }
    if "ci_rr_smoker_wald" in expected:
        pairs["interval"] = ([plain.lower, plain.upper], expected["ci_rr_smoker_wald"])
    if "quasi" in expected:
        quasi = models.poisson_ratio(*rows, **common)
        pairs["quasi standard error"] = (quasi.standard_error, expected["quasi"]["se_quasi"][exposure])
    if "cluster" in expected:
        labels = [row["unit"] for row in _rows(inputs["csv"])]
        clustered = models.poisson_ratio(*rows, clusters=labels, method="cluster", fewest_clusters=2, **common)
        pairs["clustered standard error"] = (
            clustered.standard_error,
            expected["cluster"]["CR1"][exposure],
        )
    if "rate_ratio" in expected:
        pairs["ratio"] = (plain.estimate, expected["rate_ratio"])
    return pairs


def bayesian(case: dict[str, Any]) -> Pairs:
    inputs, expected = case["inputs"], case["expected"]
    four = [inputs[name] for name in ("events1", "hours1", "events0", "hours0")]
    prior = (inputs["prior_shape"], inputs["prior_rate"] * inputs["base"])
    pairs: Pairs = {}
    for name, reduction in (
        ("p_reduction_ge_50", 0.5),
        ("p_reduction_ge_30", 0.3),
        ("p_reduction_ge_20", 0.2),
        ("p_any_reduction", 0.0),
    ):
        pairs[name] = (bayes.reduction_probability(*four, reduction, *prior), expected[name])
    rise = 1 - bayes.reduction_probability(*four, 0.0, *prior)
    pairs["p_ratio_gt_1"] = (rise, expected["p_ratio_gt_1"])
    quantiles = expected["ratio_quantiles"]
    found = bayes.ratio_quantiles(*four, quantiles["probs"], *prior)
    pairs["quantiles"] = (found, quantiles["values"])
    pairs["median"] = (bayes.ratio_quantiles(*four, 0.5, *prior), expected["ratio_median"])
    return pairs


def powers(case: dict[str, Any]) -> Pairs:
    inputs, expected = case["inputs"], case["expected"]
    names = {"exact_central": "exact", "exact_midp": "mid_p"}
    pairs: Pairs = {}
    for name, method in names.items():
        if "hours_before" in inputs:
            mean = inputs["baseline_rate_per_200k"] * inputs["hours_before"] / BASE
            ratio = inputs["hours_after"] / inputs["hours_before"]
            found = power.power(mean, ratio, 1 - inputs["reduction"], inputs["alpha"], method)
            pairs[name] = (found, expected[f"power_{name}"])
        elif "mu1" in inputs:
            size = expected["size_central" if method == "exact" else "size_midp"]
            pairs[name] = (power.power(inputs["mu0"], 1, 1, inputs["alpha"], method), size)
        elif "expected_events_before" in inputs:
            found = power.smallest_detectable(
                inputs["expected_events_before"],
                inputs["hours_ratio"],
                inputs["power"],
                inputs["alpha"],
                method,
            )
            pairs[name] = (found, expected["min_detectable_reduction"][name])
        elif "baseline_rate_per_200k" in inputs:
            found = power.hours_needed(
                inputs["baseline_rate_per_200k"],
                1 - inputs["reduction"],
                1.0,
                inputs["power"],
                inputs["alpha"],
                method,
            )
            pairs[name] = (found, expected["hours_per_period"][name])
        elif "hours_ratio" in inputs:
            found = power.events_needed(
                1 - inputs["reduction"], inputs["hours_ratio"], inputs["power"], inputs["alpha"], method
            )
            pairs[name] = (found, expected["expected_events_before"][name])
    return pairs


def multiple_testing(case: dict[str, Any]) -> Pairs:
    inputs, expected = case["inputs"], case["expected"]
    if "p" in inputs:
        p_values = [math.nan if p == "NA" else float(p) for p in inputs["p"]]
        found = multiplicity.benjamini_hochberg(p_values)
        if "BH_over_tested_only" in expected:
            tested = ~np.isnan(p_values)
            return {
                "adjusted": (found[tested], expected["BH_over_tested_only"]),
                "tests": (tested.sum(), expected["n_tests"]),
                "not tested": (np.isnan(found[~tested]).sum(), (~tested).sum()),
            }
        rejected = int((found <= inputs["alpha"]).sum())
        return {"adjusted": (found, expected["BH"]), "rejected": (rejected, expected["n_reject_BH_05"])}
    if "pearson" in expected:
        same = multiplicity.homogeneity(inputs["events"], inputs["hours"])
        return {name: (getattr(same, name), value) for name, value in expected.items()}
    exact = multiplicity.against_rest(inputs["events"], inputs["hours"], method="exact")
    mid_p = multiplicity.against_rest(inputs["events"], inputs["hours"])
    return {
        "ratio": (mid_p.ratio, expected["ratio_vs_rest"]),
        "p exact": (exact.p_value, expected["p_central"]),
        "p mid-P": (mid_p.p_value, expected["p_midp"]),
        "adjusted exact": (exact.adjusted, expected["BH_of_p_central"]),
        "adjusted mid-P": (mid_p.adjusted, expected["BH_of_p_midp"]),
    }


def empirical_bayes(case: dict[str, Any]) -> Pairs:
    """Exposure there is in units of 200,000 hours. Two moment rules there are not offered here."""
    inputs, expected = case["inputs"], case["expected"]
    hours = np.array(inputs["exposure"]) * BASE
    if "between_var_marshall" in expected:
        marshall = shrinkage.gamma_poisson(inputs["events"], hours, "marshall")
        ml = shrinkage.gamma_poisson(inputs["events"], hours, "ml")
        return {
            "shrunk": (marshall.mean, expected["shrunk"]),
            "shape by likelihood": (ml.prior.shape, expected["ml_shape"]),
        }
    if "between_var" in expected:
        found = shrinkage.gamma_poisson(inputs["events"], hours, "marshall")
        return {
            "mean": (found.prior.mean_per_200k, expected["mean"]),
            "shape": (found.prior.shape, expected["shape"]),
            "prior weight": (found.prior.hours / BASE, expected["rate"]),
            "shrunk": (found.mean, expected["shrunk"]),
        }
    if "logLik" not in expected:
        return {}
    found = shrinkage.gamma_poisson(inputs["events"], hours, "ml")
    posterior = expected["posterior"]
    return {
        "shape": (found.prior.shape, expected["shape"]),
        "prior weight": (found.prior.hours / BASE, expected["rate"]),
        "prior mean": (found.prior.mean_per_200k, expected["prior_mean"]),
        "likelihood": (found.prior.log_likelihood, expected["logLik"]),
        "mean": (found.mean, posterior["mean"]),
        "sd": (found.sd, posterior["sd"]),
        "lower": (found.lower, posterior["lower"]),
        "upper": (found.upper, posterior["upper"]),
        "weight on prior": (found.weight_on_prior, posterior["shrinkage_weight_on_prior"]),
    }


@cache
def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / "reference" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _table(name: str, formula: str) -> tuple[list[list[float]], str, dict[str, list[str]]]:
    """Events, hours and exposure columns; the exposure's name; the factors of the formula."""
    rows = _rows(name)
    events, hours, exposure = (
        ("deaths", "pyears", "smoker") if "deaths" in rows[0] else ("injuries", "hours", "trained")
    )
    columns = [[float(row[column]) for row in rows] for column in (events, hours, exposure)]
    terms = formula.split("~")[1].split(",")[0].split("+")
    factors = [term.strip() for term in terms if term.strip() != exposure]
    return columns, exposure, {factor: [row[factor] for row in rows] for factor in factors}


CHECKS = {
    "stratified": stratified,
    "regression": regression,
    "bayes": bayesian,
    "power": powers,
    "multiple_testing": multiple_testing,
    "empirical_bayes": empirical_bayes,
}
