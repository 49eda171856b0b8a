"""When the answer is "cannot tell": what these hours could have shown, what is still needed, and by when."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import special

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Contrast
from handling_review.evidence.ladder import Rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import BEFORE_AFTER
from handling_review.evidence.quarters import previous
from handling_review.program import Program
from handling_review.stats import bayes, power

POWER = 0.8  # four times in five: the usual level at which a study is planned
FARTHEST_QUARTERS = 80  # twenty years: a date beyond it would mean nothing


@dataclass(frozen=True)
class PowerLeft:
    """What the leading design could have shown, and what before and after would still need.

    Attributes:
        smallest_fall: smallest fall, as a share, that the leading design would find four times in five: exact for
            before and after, from the expected error for the others (``None``: not even a fall to nothing).
        target: the fall under test (0.5: by half).
        hours_still_needed: hours after training still to come before a plain comparison would find the target four
            times in five; 0 if they are there; ``None`` if no number is enough.
        cases_expected: cases those hours would bring if the target were met.
        quarters_still_needed, detectable_in: the same in quarters at the present pace (``None`` also if the latest
            quarter added no hours after training), and the quarter in which they are reached ("now" if they are
            there, "" if never or too far off).
        cases_before_wanted: expected cases before that equal hours after would need.
        chance_target_met: probability that the true fall is at least the target, before and after at face value.
        chance_target_met_lead: the same from the leading design's estimate and error (normal on the log scale).
    """

    smallest_fall: Number | None
    target: Number
    hours_still_needed: Number | None
    cases_expected: Number | None
    quarters_still_needed: Number | None
    detectable_in: str
    cases_before_wanted: Number
    chance_target_met: Number | None
    chance_target_met_lead: Number | None


def gather(
    lead: Rung, plain: Contrast, hours_per_quarter: float, quarters: Sequence[str], program: Program
) -> PowerLeft:
    """``plain`` is the before and after comparison; ``hours_per_quarter`` what a coming quarter adds after training."""
    alpha, target = 1 - program.analysis.confidence, program.analysis.target_reduction
    ratio = 1 - target
    events1, hours1 = int(plain.now.events.value or 0), float(plain.now.hours.value or 0)
    events0, hours0 = int(plain.then.events.value or 0), float(plain.then.hours.value or 0)
    end = f"facility/power_left/{lead.series}"
    hours_left = cases = quarters_left = None
    detectable = ""
    if events0 and hours0:
        has_pace = hours_per_quarter > 0  # without one the hours can be there already, or their number be known
        pace = hours_per_quarter if has_pace else hours0
        needed = power.quarters_needed(events0, hours0, hours1, pace, ratio, POWER, alpha)
        if math.isfinite(needed.quarters_still_needed):
            count = round(needed.quarters_still_needed)
            still = max(0.0, needed.hours_after - hours1)
            hours_left = numbers.hours(f"hours_still_needed/{end}", still)
            cases = numbers.count(f"cases_expected/{end}", round(still * ratio * events0 / hours0))
            if count == 0 or has_pace:
                quarters_left = numbers.count(f"quarters_still_needed/{end}", count, "quarters")
            if count == 0:
                detectable = "now"
            elif has_pace and quarters and count <= FARTHEST_QUARTERS:
                detectable = previous(quarters[-1], -count)
    chance = None
    if hours1 and hours0 and events1 + events0:  # without a case the figure would be the prior's alone
        chance = numbers.chance(
            f"chance_target_met/{end}", bayes.reduction_probability(events1, hours1, events0, hours0, target)
        )
    return PowerLeft(
        smallest_fall=_smallest(lead, events0, hours1 / hours0 if hours0 else 0.0, end, alpha),
        target=numbers.share("setting/target_reduction", target),
        hours_still_needed=hours_left,
        cases_expected=cases,
        quarters_still_needed=quarters_left,
        detectable_in=detectable,
        cases_before_wanted=numbers.count(
            f"cases_before_wanted/{end}", math.ceil(power.events_needed(ratio, 1.0, POWER, alpha))
        ),
        chance_target_met=chance,
        chance_target_met_lead=_chance_from_lead(lead, ratio, end, program),
    )


def _smallest(lead: Rung, events0: int, hours_ratio: float, end: str, alpha: float) -> Number | None:
    if lead.design == BEFORE_AFTER:
        if not events0 or hours_ratio <= 0:
            return None
        fall = power.smallest_detectable(events0, hours_ratio, POWER, alpha)
        return None if math.isnan(fall) else numbers.share(f"smallest_fall/{end}", fall)
    if not math.isfinite(lead.expected_error):
        return None
    z = float(special.ndtri(1 - alpha / 2) + special.ndtri(POWER))
    return numbers.share(f"smallest_fall/{end}", -math.expm1(-z * lead.expected_error))


def _chance_from_lead(lead: Rung, ratio: float, end: str, program: Program) -> Number | None:
    if lead.ratio is None:
        return None
    centre, low, high = (float(n.value or 0) for n in (lead.ratio.value, lead.ratio.lower, lead.ratio.upper))
    if not (centre > 0 and low > 0 and math.isfinite(high)):
        return None
    z = float(special.ndtri((1 + program.analysis.confidence) / 2))
    error = (math.log(high) - math.log(low)) / (2 * z)
    chance = float(special.ndtr((math.log(ratio) - math.log(centre)) / error))
    return numbers.share(f"chance_target_met_lead/{end}", chance)
