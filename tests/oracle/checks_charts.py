"""Our side of the reference cases on control charts, CUSUM and funnel limits."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import special

from handling_review.stats import charts, cusum, funnel

BASE = 200_000
Pairs = dict[str, tuple[Any, Any]]


def control_charts(case: dict[str, Any]) -> Pairs:
    """EWMA and the geometric chart there are not offered here."""
    for prefix, check in (
        ("laney", _u_chart),
        ("u_", _u_chart),
        ("pub_montgomery", _textbook),
        ("pub_nist", _textbook),
        ("prob", _probability),
        ("t_", _gaps),
        ("cusum_arl", _run_lengths),
        ("pub_lucas", _run_lengths),
        ("cusum", _cusum),
    ):
        if case["id"].startswith(prefix):
            return check(case["inputs"], case["expected"])
    return {}


def funnel_limits(case: dict[str, Any]) -> Pairs:
    inputs, expected = case["inputs"], case["expected"]
    if "counts" in inputs:
        return _dispersion(inputs, expected)
    target, hours = inputs["target_per_200k"], [inputs["hours"]]
    pairs: Pairs = {}
    for name, kind in (("interpolated", "exact"), ("normal", "normal")):
        found = funnel.limits(target, hours, (0.95, 0.998), kind=kind)
        ours = [found.lower[1, 0], found.lower[0, 0], found.upper[0, 0], found.upper[1, 0]]
        pairs[name] = (ours, [expected[name][tail] for tail in ("p001", "p025", "p975", "p999")])
    return pairs


def _dispersion(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    pairs: Pairs = {}
    for name, share in (("unwinsorised", 0.0), ("winsorised_rank", inputs["q"])):
        found = funnel.dispersion(inputs["counts"], inputs["hours"], winsorise=share)
        reference = expected[name]
        pairs[name] = (
            [found.phi, found.tau2, found.statistic, found.p_value],
            [reference[part] for part in ("phi", "tau2", "test_I_phi", "p_chi2_I")],
        )
    pairs["target"] = (found.target_per_200k, expected["target"])
    pairs["z"] = (found.z, expected["z"])
    pairs["z winsorised"] = (found.z_winsorised, expected["z_winsorised_rank"])
    limits = funnel.limits(expected["target"], inputs["hours"], tau2=found.tau2, kind="normal")
    for row, name in enumerate(("limits_add_rank_95", "limits_add_rank_998")):
        pairs[name] = (
            [limits.lower[row], limits.upper[row]],
            [expected[name]["lower"], expected[name]["upper"]],
        )
    return pairs


def _u_chart(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    kind = "laney" if "sigma_z" in expected else "sigma"
    hours = np.array(inputs["exposure"]) * BASE
    found = charts.u_limits(inputs["counts"], hours, len(hours), kind, inputs["k"])
    marks = charts.signals(found.rate_per_200k, found.centre_per_200k, found.lower, found.upper)
    pairs: Pairs = {
        "centre": (found.centre_per_200k, expected["centre"]),
        "lower": (found.lower, expected["lcl"]),
        "upper": (found.upper, expected["ucl"]),
        "signal": (marks.outside, expected["signal"]),
    }
    if kind == "laney":
        pairs["sigma_z"] = (found.sigma_z, expected["sigma_z"])
    else:
        pairs["rate"] = (found.rate_per_200k, expected["u"])
    return pairs


def _textbook(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    """Only the total is printed, so any spread of it over the periods will do."""
    periods, units = inputs.get("periods", 10), inputs.get("units_per_period", 1)
    total = inputs.get("total", periods * inputs.get("centre", 0))
    counts = np.full(periods, total // periods)
    counts[: total % periods] += 1
    found = charts.u_limits(counts, np.full(periods, units * BASE), periods, "sigma", inputs["k"])
    pairs: Pairs = {
        "lower": (found.lower[0], expected["lcl"]),
        "upper": (found.upper[0], expected["ucl"]),
    }
    if "centre" in expected:
        pairs["centre"] = (found.centre_per_200k, expected["centre"])
    return pairs


def _probability(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    low, high = charts.probability_limits([inputs["mu"]], inputs["alpha"])
    # a baseline of ten times the hours with 10 mu events makes mu the expected count of the next period
    sigmas = -special.ndtri(inputs["alpha"] / 2)
    chart = charts.u_limits([round(10 * inputs["mu"]), 0], [10 * BASE, BASE], 1, "poisson", float(sigmas))
    return {
        "lower count": (low[0], expected["lcl_count"]),
        "upper count": (high[0], expected["ucl_count"]),
        "chart": ([chart.lower[1], chart.upper[1]], [expected["lcl_count"], expected["ucl_count"]]),
        "false alarm": (chart.false_alarm[1], expected["p_below"] + expected["p_above"]),
        "run length": (1 / chart.false_alarm[1], expected["arl0"]),
    }


def _gaps(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    nelson = charts.days_between(inputs["time_between"], power=inputs.get("power", 1 / 3.6))
    sigmas = float(-special.ndtri(0.00135))  # the reference has tails of 0.00135, rounded
    exponential = charts.days_between(inputs["time_between"], kind="exponential", sigmas=sigmas)
    return {
        "limits": (
            [nelson.lower, nelson.centre, nelson.upper],
            [expected["lcl"], expected["centre"], expected["ucl"]],
        ),
        "mean": (exponential.mean_days, expected["exp_mean"]),
        "exponential limits": (
            [exponential.lower, exponential.centre, exponential.upper],
            [expected["exp_lcl"], expected["exp_centre_median"], expected["exp_ucl"]],
        ),
    }


def _cusum(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    hours = np.array(inputs["exposure"]) * BASE
    if "llr" in expected:
        found = charts.poisson_cusum(inputs["counts"], hours, inputs["u0"], inputs["u1"] / inputs["u0"], threshold=5)
        return {"log likelihood ratios": (found.statistic * expected["factor"], expected["llr"])}
    pairs: Pairs = {}
    for side in ("up", "down"):
        if "u0" in inputs:
            target, ratio = inputs["u0"], inputs[f"u1_{side}"] / inputs["u0"]
        else:  # only k is given: k = target (r - 1) / log(r) at a doubling or halving
            ratio = 2.0 if side == "up" else 0.5
            target = inputs[f"k_{side}"] * np.log(ratio) / (ratio - 1)
        found = charts.poisson_cusum(inputs["counts"], hours, target, ratio, threshold=inputs["h"])
        name = "upper" if side == "up" else "lower"
        pairs[name] = (found.statistic, expected[name])
        pairs[f"signal {name}"] = (found.signal, expected[f"signal_{name}"])
        k = inputs[f"k_{side}"]
        pairs[f"reference {name}"] = (found.reference / np.array(inputs["exposure"]), np.full(hours.size, k))
    return pairs


def _run_lengths(inputs: dict[str, Any], expected: dict[str, Any]) -> Pairs:
    mean, k, height = inputs["mu"], inputs["k"], inputs["h"]
    return {
        "upper": (cusum.run_length(mean, k, height), expected["upper"]),
        "upper, head start": (cusum.run_length(mean, k, height, height / 2), expected["upper_fir"]),
        "lower": (cusum.run_length(mean, k, height, upward=False), expected["lower"]),
        "lower, head start": (
            cusum.run_length(mean, k, height, height / 2, upward=False),
            expected["lower_fir"],
        ),
    }


CHECKS = {"control_charts": control_charts, "funnel": funnel_limits}
