"""Designs by each person's own training date: before and after, the same against other injuries, within quarters."""

from __future__ import annotations

import math
from dataclasses import replace

from handling_review.evidence.panel import (
    BEFORE_AFTER,
    CONTROL,
    NO_CASE,
    WITHIN,
    Check,
    Designed,
    Personal,
    enough_cases,
    error_of_two,
    total,
    with_result,
)
from handling_review.stats import casemix, ratios, strata


def before_after(personal: Personal, confidence: float) -> Designed:
    """All hours after against all hours before, each person by the own training date."""
    events1, hours1, events0, hours0 = _sides(personal)
    blank = Designed(BEFORE_AFTER, events1=events1, hours1=hours1, events0=events0, hours0=hours0)
    if not (hours1 and hours0):
        return replace(blank, reason="there are no hours on one of the two sides")
    if not events1 + events0:
        return replace(blank, reason=NO_CASE)
    found = ratios.rate_ratio(events1, hours1, events0, hours0, confidence=confidence)
    checks = (
        Check(
            "Rates would have stayed as they were without the program.",
            None,
            f"The middles of the two sides lie {personal.years_apart:.1f} years apart, and nothing else is compared.",
        ),
        enough_cases(events1, events0),
    )
    error = error_of_two(hours1, hours0, events1 + events0)
    return with_result(blank, found.estimate, found.lower, found.upper, found.p_value, error, checks)


def negative_control(personal: Personal, confidence: float) -> Designed:
    """The change in handling injuries over the change in other injuries on the same hours; the hours cancel."""
    events1, hours1, events0, hours0 = _sides(personal)
    other1, other0 = float(personal.other1.sum()), float(personal.other0.sum())
    blank = Designed(CONTROL, events1=events1, hours1=hours1, events0=events0, hours0=hours0)
    if personal.holds_others:
        return replace(blank, reason="these cases hold the other injuries too, so the two kinds are not apart")
    if not (hours1 and hours0):
        return replace(blank, reason="there are no hours on one of the two sides")
    if not (events1 + events0 and other1 + other0 and events1 + other1 and events0 + other0):
        return replace(blank, reason="there are no cases of one kind, or on one of the two sides")
    found = casemix.ratio_of_ratios(events1, events0, other1, other0, confidence=confidence)
    checks = (
        Check(
            "Whatever else changed moved both kinds of injuries alike.",
            None,
            f"Other injuries: {other0:.0f} before, {other1:.0f} after on the same hours.",
        ),
        enough_cases(min(events1, other1), min(events0, other0)),
    )
    parts = [error_of_two(hours1, hours0, events1 + events0), error_of_two(hours1, hours0, other1 + other0)]
    return with_result(blank, found.estimate, found.lower, found.upper, found.p_value, math.hypot(*parts), checks)


def within_quarter(personal: Personal, confidence: float) -> Designed:
    """Trained against not yet trained hours inside the same unit and calendar quarter (Mantel-Haenszel)."""
    both = (personal.hours1 > 0) & (personal.hours0 > 0)
    y1, t1, y0, t0 = (a[both] for a in (personal.events1, personal.hours1, personal.events0, personal.hours0))
    blank = Designed(WITHIN, events1=total(y1), hours1=total(t1), events0=total(y0), hours0=total(t0))
    if not both.any():
        return replace(blank, reason="no unit has trained and not yet trained hours in the same quarter")
    if not y1.sum() + y0.sum():
        return replace(blank, reason="no case fell in a quarter in which a unit has both kinds of hours")
    found = strata.common_ratio(y1, t1, y0, t0, confidence)
    smaller = float(min(t1.sum(), t0.sum()) / (personal.hours1 + personal.hours0).sum())
    checks = (
        Check(
            "People trained and not yet trained in one unit and quarter carry the same risk.",
            None,
            f"{both.sum()} unit-quarters have both; new staff, who are hurt more often, wait for their training there.",
        ),
        Check(
            "Both kinds of hours are well filled there.",
            smaller >= 0.1,
            f"The smaller side holds {smaller:.0%} of all hours before and after.",
        ),
        _alike(found.homogeneity_p),
    )
    overall = (total(personal.events1) + total(personal.events0)) / (total(personal.hours1) + total(personal.hours0))
    information = float((overall * t1 * t0 / (t1 + t0)).sum())
    error = 1 / math.sqrt(information) if information > 0 else math.inf
    return with_result(blank, found.estimate, found.lower, found.upper, found.p_value, error, checks)


def _sides(personal: Personal) -> tuple[float, float, float, float]:
    return total(personal.events1), total(personal.hours1), total(personal.events0), total(personal.hours0)


def _alike(p_value: float) -> Check:
    if math.isnan(p_value):
        return Check("The ratio is the same in all quarters.", None, "Too few quarters with cases to tell.")
    return Check("The ratio is the same in all quarters.", p_value >= 0.05, f"Test of equal ratios: p = {p_value:.2f}.")
