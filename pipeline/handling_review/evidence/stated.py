"""Figures that are stated, not counted: settings of the program file, fixed rules, and results of cited sources.

Sentences name them, so they are published numbers like any other: ``setting/...`` comes from the program file,
``rule/...`` from the code that follows the rule, ``source/...`` from the source named beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence import (
    audits,
    before_after,
    late,
    numbers,
    severity,
    tasks,
    training_due,
    unit_funnel,
    who,
)
from handling_review.evidence.numbers import Number
from handling_review.evidence.purchases import MAIN_RATE
from handling_review.program import Program
from handling_review.stats import proposals, worth
from handling_review.stats import severity as days_drawn
from handling_review.store.settle import ACTIVE_DAYS
from handling_review.store.trade import TECHNIQUE_BANDS

_BANDS = {activity: (low, high) for activity, low, high in TECHNIQUE_BANDS}


@dataclass(frozen=True)
class Settings:
    """Settings that sentences name."""

    washout_days: Number
    confidence: Number
    privacy_cell: Number
    unreliable_below: Number
    unstable_below: Number


def settings(program: Program) -> Settings:
    """The settings of one program file as published numbers."""
    small = program.thresholds
    return Settings(
        washout_days=numbers.count("setting/washout_days", program.training.washout_days, "days"),
        confidence=numbers.fine_share("setting/confidence", program.analysis.confidence),
        privacy_cell=numbers.count("setting/privacy_cell", small.privacy_cell),
        unreliable_below=numbers.count("setting/unreliable_below", small.unreliable_below),
        unstable_below=numbers.count("setting/unstable_below", small.unstable_below),
    )


@dataclass(frozen=True)
class Rules:
    """Fixed figures of the review's own rules and of the sources it cites."""

    slow_fall: Number
    fast_fall: Number
    day_cap: Number
    slow_report: Number
    active_days: Number
    months_ahead: Number
    inner_one_in: Number
    outer_one_in: Number
    per_transfers: Number
    load_limit: Number
    squat_from: Number
    squat_to: Number
    lateral_from: Number
    no_band_from: Number
    no_band_to: Number
    later_quarters: Number
    money_draws: Number
    worth_draws: Number
    days_draws: Number
    repeat_draws: Number
    outside_chance: Number
    main_rate: Number
    cochrane_odds: Number
    cochrane_lower: Number
    cochrane_upper: Number
    industry_2003: Number
    industry_2024: Number


RULES = Rules(
    slow_fall=numbers.share("rule/background_fall/slow", before_after.YEARLY_FALL[0]),
    fast_fall=numbers.share("rule/background_fall/fast", before_after.YEARLY_FALL[1]),
    day_cap=numbers.count("rule/day_cap", severity.CAP, "days"),  # 29 CFR 1904.7(b)(3)(vii)
    slow_report=numbers.count("rule/slow_report", late.SLOW_DAYS, "days"),
    active_days=numbers.count("rule/active_days", ACTIVE_DAYS, "days"),
    months_ahead=numbers.count("rule/months_ahead", training_due.MONTHS_AHEAD, "months"),
    inner_one_in=numbers.count("rule/funnel/inner_one_in", round(1 / (1 - unit_funnel.LEVELS[0])), "units"),
    outer_one_in=numbers.count("rule/funnel/outer_one_in", round(1 / (1 - unit_funnel.LEVELS[1])), "units"),
    per_transfers=numbers.count("rule/per_transfers", tasks.PER_TRANSFERS, "transfers"),
    load_limit=numbers.plain("rule/load_on_hands", 35, "lb"),  # Waters 2007; int_case_details.sql
    squat_from=numbers.plain("rule/effort/squat_from", _BANDS["squat_pivot"][0], "percent"),
    squat_to=numbers.plain("rule/effort/squat_to", _BANDS["squat_pivot"][1], "percent"),
    lateral_from=numbers.plain("rule/effort/lateral_from", _BANDS["lateral_transfer"][0], "percent"),
    no_band_from=numbers.plain("rule/effort/no_band_from", _BANDS["squat_pivot"][1] + 1, "percent"),
    no_band_to=numbers.plain("rule/effort/no_band_to", _BANDS["lateral_transfer"][0] - 1, "percent"),
    later_quarters=numbers.count("rule/later_quarters", audits.LATER, "quarters"),
    money_draws=numbers.count("rule/draws/money", proposals.DRAWS, "draws"),
    worth_draws=numbers.count("rule/draws/worth", worth.DRAWS, "draws"),
    days_draws=numbers.count("rule/draws/days", days_drawn.DRAWS, "draws"),
    repeat_draws=numbers.count("rule/draws/repeats", who.DRAWS, "draws"),
    outside_chance=numbers.plain("rule/chart/outside_chance", 0.00135, "share"),  # beyond three sigma, a side
    main_rate=numbers.share("rule/main_discount_rate", MAIN_RATE),
    # Verbeek and others, Cochrane Database of Systematic Reviews, CD005958, 2011: training without equipment.
    cochrane_odds=numbers.ratio("source/cochrane_cd005958/odds_ratio", 1.17),
    cochrane_lower=numbers.ratio("source/cochrane_cd005958/lower", 0.68),
    cochrane_upper=numbers.ratio("source/cochrane_cd005958/upper", 2.02),
    # Bureau of Labor Statistics, private industry, recordable cases per 100 full-time workers.
    industry_2003=numbers.rate("source/bls_private_industry/2003", 5.0),
    industry_2024=numbers.rate("source/bls_private_industry/2024", 2.3),
)
