"""Our side of the reference cases on rates, ratios, differences and proportions."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import special

from handling_review.stats import proportions, rates, ratios

METHODS = {"exact": "exact", "midp": "mid_p"}  # name in the reference: name here


def rate(case: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    inputs, expected = case["inputs"], case["expected"]
    scale = inputs.get("base", 200_000) / rates.BASE_HOURS
    if inputs.get("hours") == 0:
        return {"rate": (_or_none(inputs["n"], 0.0), math.nan)}
    if "n_by_unit" in inputs:
        found = rates.rate(inputs["n_by_unit"], inputs["hours_by_unit"])
        pooled = rates.rate(sum(inputs["n_by_unit"]), sum(inputs["hours_by_unit"]))
        return {
            "unit rates": (found, expected["unit_rates"]),
            "pooled rate": (pooled, expected["pooled_rate"]),
        }
    if "n_by_year" in inputs:
        found_pooled = rates.rate(sum(inputs["n_by_year"]), sum(inputs["hours_by_year"]))
        return {"rate": (found_pooled * scale, expected["rate"])}
    return {"rate": (rates.rate(inputs["n"], inputs["hours"]) * scale, expected["rate"])}


def rate_ci(case: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    inputs, expected = case["inputs"], case["expected"]
    if "mu" in inputs:
        return {
            f"coverage {name}": (_count_coverage(inputs["mu"], inputs["conf"], METHODS[name]), value)
            for name, value in expected.items()
            if name in METHODS
        }
    if "alpha" in inputs:
        confidence = 1 - inputs["alpha"]
        return {
            "one-sided upper": (
                rates.upper_limit(inputs["events"], rates.BASE_HOURS, confidence),
                expected["one_sided_exact_upper"],
            ),
            "two-sided exact upper": (
                rates.count_interval(inputs["events"], confidence).upper,
                expected["two_sided_exact_upper"],
            ),
            "two-sided mid-P upper": (
                rates.count_interval(inputs["events"], confidence, "mid_p").upper,
                expected["two_sided_midp_upper"],
            ),
        }
    time = inputs.get("hours", inputs.get("exposure", inputs.get("expected")))
    pairs: dict[str, tuple[Any, Any]] = {}
    for name, method in METHODS.items():
        if name not in expected:
            continue
        if time is None:
            limits = rates.count_interval(inputs["events"], inputs["conf"], method)
        else:  # per `base` hours, or per one unit of time
            hours = time * rates.BASE_HOURS / inputs.get("base", 1)
            limits = rates.rate_interval(inputs["events"], hours, inputs.get("conf", 0.95), method)
        pairs[name] = ([limits.lower, limits.upper], expected[name])
    if "ratio" in expected:
        hours = time * rates.BASE_HOURS
        pairs["ratio"] = (rates.rate(inputs["events"], hours), expected["ratio"])
    if "rate" in expected:
        pairs["rate"] = (rates.rate(inputs["events"], inputs["hours"]), expected["rate"])
    return pairs


def rate_ratio(case: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    inputs, expected = case["inputs"], case["expected"]
    if "mu0" in inputs:
        return {
            f"coverage {name}": (
                _pair_coverage(inputs["mu0"], inputs["ratio"], inputs["conf"], METHODS[name], "ratio"),
                value,
            )
            for name, value in expected["coverage"].items()
            if name in METHODS
        }
    four = inputs["events1"], inputs["hours1"], inputs["events0"], inputs["hours0"]
    null, confidence = inputs.get("ratio_null", 1.0), inputs.get("conf", 0.95)
    by_method = {name: ratios.rate_ratio(*four, confidence, METHODS[name], null) for name in METHODS}
    pairs: dict[str, tuple[Any, Any]] = {}
    if "ratio" in expected:
        pairs["ratio"] = (by_method["exact"].estimate, expected["ratio"])
    for name, found in by_method.items():
        if name in expected:
            pairs[name] = ([found.lower, found.upper], expected[name])
    pairs |= _p_values(by_method, expected.get("p", expected))
    for one in ("1", "0"):
        if f"rate{one}_per_200k" in expected:
            found_rate = rates.rate(inputs[f"events{one}"], inputs[f"hours{one}"])
            pairs[f"rate {one}"] = (found_rate, expected[f"rate{one}_per_200k"])
    return pairs


def _p_values(by_method: dict[str, ratios.Ratio], expected: dict[str, float]) -> dict[str, tuple[Any, Any]]:
    """Two-sided values; where the reference has one-sided ones only, twice the smaller of them."""
    pairs: dict[str, tuple[Any, Any]] = {}
    names = {"exact": ("p_central", "p_less", "p_greater"), "midp": ("p_midp", "p_mid_less", "p_mid_greater")}
    for name, (two_sided, less, greater) in names.items():
        if two_sided in expected:
            pairs[f"p {name}"] = (by_method[name].p_value, expected[two_sided])
        elif less in expected:
            doubled = min(1.0, 2 * min(expected[less], expected[greater]))
            pairs[f"p {name}"] = (by_method[name].p_value, doubled)
    return pairs


def rate_difference(case: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    inputs, expected = case["inputs"], case["expected"]
    names = {"mover_exact": "exact", "mover_midp": "mid_p"}
    if "mu0" in inputs:
        return {
            f"coverage {name}": (
                _pair_coverage(inputs["mu0"], inputs["ratio"], inputs["conf"], names[name], "difference"),
                value,
            )
            for name, value in expected["coverage"].items()
            if name in names
        }
    scale = inputs["base"] / rates.BASE_HOURS
    four = inputs["events1"], inputs["hours1"], inputs["events0"], inputs["hours0"]
    pairs: dict[str, tuple[Any, Any]] = {}
    for name, method in names.items():
        found = ratios.rate_difference(*four, inputs["conf"], method)
        if "difference" in expected:
            pairs["difference"] = (found.estimate * scale, expected["difference"])
        if name in expected:
            pairs[name] = ([found.lower * scale, found.upper * scale], expected[name])
    return pairs


def proportion(case: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    inputs, expected = case["inputs"], case["expected"]
    pairs: dict[str, tuple[Any, Any]] = {}
    if "x1" in inputs:
        gap = proportions.newcombe(inputs["x1"], inputs["n1"], inputs["x2"], inputs["n2"], inputs["conf"])
        pairs["newcombe"] = ([gap.lower, gap.upper], expected["newcombe"])
        if "difference" in expected:
            pairs["difference"] = (gap.estimate, expected["difference"])
        return pairs
    found = proportions.wilson(inputs["x"], inputs["n"], inputs["conf"])
    pairs["wilson"] = ([found.lower, found.upper], expected["wilson"])
    if "estimate" in expected:
        pairs["estimate"] = (found.estimate, expected["estimate"])
    return pairs


def _or_none(events: int, hours: float) -> float:
    """Without hours there is no rate: the function must refuse, which the reference writes as missing."""
    try:
        return rates.rate(events, hours)
    except ValueError:
        return math.nan


def _poisson(mean: float, counts: np.ndarray) -> np.ndarray:
    return np.exp(special.xlogy(counts, mean) - mean - special.gammaln(counts + 1))


def _count_coverage(mean: float, confidence: float, method: str) -> float:
    counts = np.arange(0, int(mean + 20 * math.sqrt(mean) + 40), dtype=float)
    limits = rates.count_interval(counts, confidence, method)
    holds = (limits.lower <= mean) & (mean <= limits.upper)
    return float(_poisson(mean, counts)[holds].sum())


def _pair_coverage(mu0: float, ratio: float, confidence: float, method: str, kind: str) -> float:
    """Equal hours, both counts from 0 to 70, as in the reference."""
    counts = np.arange(71, dtype=float)
    one, zero = (grid.ravel() for grid in np.meshgrid(counts, counts, indexing="ij"))
    hours = np.full_like(one, rates.BASE_HOURS)
    weight = _poisson(mu0 * ratio, one) * _poisson(mu0, zero)
    if kind == "ratio":
        found = ratios.rate_ratio(one, hours, zero, hours, confidence, method)
        truth = ratio
        holds = (found.lower <= truth) & (truth <= found.upper)
    else:
        gap = ratios.rate_difference(one, hours, zero, hours, confidence, method)
        truth = mu0 * (ratio - 1)
        holds = (gap.lower <= truth) & (truth <= gap.upper)
    return float(weight[holds].sum())


CHECKS = {
    "rate": rate,
    "rate_ci": rate_ci,
    "rate_ratio": rate_ratio,
    "rate_difference": rate_difference,
    "proportion": proportion,
}
