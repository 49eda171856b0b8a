"""A group that started the program held against one that did not."""

from __future__ import annotations

from handling_review.stats import _inputs, casemix
from handling_review.stats.ratios import Ratio


def difference_in_differences(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    control_events1: float,
    control_hours1: float,
    control_events0: float,
    control_hours0: float,
    confidence: float = 0.95,
    method: str = "mid_p",
    null: float = 1.0,
) -> Ratio:
    """Rate ratio of the group (after / before) divided by the rate ratio of its control group.

    On the logarithm of the rate this is the difference of two differences: the phase-by-group term of a
    Poisson model. Given the margins of the four counts only that term and the hours are left, so the interval
    is the conditional one and needs no large counts.

    Args:
        events1, hours1, events0, hours0: the group after (1) and before (0) its start.
        control_events1 ... control_hours0: the control group over the same calendar times.
        confidence, method, null: as in ``casemix.ratio_of_ratios``.

    Returns:
        ``Ratio``: below 1 when the group fell more than its control. Zero cells as in
        ``casemix.ratio_of_ratios``.

    Raises:
        ValueError: counts that are negative or not whole, hours not above 0, confidence outside (0, 1).

    Source: Angrist & Pischke 2009, Mostly Harmless Econometrics, ch. 5; Breslow & Day 1987, vol. II, ch. 4
    (conditional analysis of a multiplicative Poisson model).
    """
    scale = 1.0
    for name, hours, power in (
        ("hours1", hours1, -1),
        ("hours0", hours0, 1),
        ("control_hours1", control_hours1, 1),
        ("control_hours0", control_hours0, -1),
    ):
        scale *= _inputs.positive_number(name, hours) ** power
    counts = casemix.ratio_of_ratios(
        _inputs.count("events1", events1),
        _inputs.count("events0", events0),
        _inputs.count("control_events1", control_events1),
        _inputs.count("control_events0", control_events0),
        confidence,
        method,
        _inputs.positive_number("null", null) / scale,
    )
    return Ratio(counts.estimate * scale, counts.lower * scale, counts.upper * scale, counts.p_value, method)
