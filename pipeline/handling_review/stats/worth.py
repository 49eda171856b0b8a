"""What the program has been worth so far: cases avoided times cost, minus what it cost, with the doubt kept."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from handling_review.stats import _inputs, money, ratios
from handling_review.stats._inputs import Array, Values
from handling_review.stats.money import CostPerCase, Range

DRAWS = 20_000
_SEED = 20_100_409


@dataclass(frozen=True)
class Worth:
    """What the cases avoided so far are worth, against what the program cost.

    Attributes:
        cases_avoided: on the hours worked with the program; below 0 if there were more than without it.
        saving: cases avoided times cost of a case. net: saving minus what was spent.
        share_positive: share of the simulation with a net above 0.
        is_saving_established: whether the interval of the ratio lies below 1.
    """

    cases_avoided: Range
    saving: Range
    net: Range
    share_positive: float
    is_saving_established: bool


def worth(
    events: float,
    ratio: Range,
    cost: CostPerCase | Values,
    spent: float,
    *,
    indirect_multiplier: float = 0.0,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> Worth:
    """What the program has been worth, from the ratio of the rate with it to the rate without it.

    With a ratio R, the cases that happened with the program would have been events / R without it. In each draw the
    logarithm of R is normal with the distance of its limits, and the cost is drawn as in ``budget_case``.

    Args:
        events: cases with the program, 0 or more.
        ratio: estimate and limits, all above 0 and finite.
        cost: as in ``budget_case``. spent: what the program cost, 0 or more.
        indirect_multiplier: indirect over direct cost. confidence: of ``ratio``, and of all limits given back.
        draws: at least 100. seed: the same seed gives the same answer.

    Returns:
        ``Worth``; limits of the cases avoided are those of the ratio, all others percentiles of the simulation.

    Raises:
        ValueError: values outside the ranges above.

    Source: as in ``budget_case``; avoided = events (1 / R - 1).
    """
    y = float(_inputs.count("events", events))
    low, middle, high = (_inputs.positive_number("ratio", v) for v in (ratio.lower, ratio.estimate, ratio.upper))
    if not low <= middle <= high:
        raise ValueError("ratio must have lower <= estimate <= upper")
    level = _inputs.share("confidence", confidence)
    balance = _Balance(cost, spent, indirect_multiplier, level, draws, seed)
    sd = math.log(high / low) / (-2 * float(special.ndtri((1 - level) / 2)))
    avoided = y * (np.exp(-balance.random.normal(math.log(middle), sd, draws)) - 1)
    fewer = Range(y * (1 / middle - 1), y * (1 / high - 1), y * (1 / low - 1))
    return balance.worth(fewer, avoided, is_saving_established=high < 1)


def worth_of_rates(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    cost: CostPerCase | Values,
    spent: float,
    *,
    indirect_multiplier: float = 0.0,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> Worth:
    """The same from cases and hours with (1) and without (0) the program; works without a case on either side.

    In each draw both rates come from their gamma posterior (Jeffreys prior), as in ``money.budget_case``. Limits of the
    cases avoided are those of ``ratios.cases_avoided``.

    Args and errors as in ``worth`` and ``money.budget_case``.
    """
    level = _inputs.share("confidence", confidence)
    balance = _Balance(cost, spent, indirect_multiplier, level, draws, seed)
    found = ratios.cases_avoided(events1, hours1, events0, hours0, level)
    after, before = (
        balance.random.gamma(events + 0.5, 1 / hours, draws) for events, hours in ((events1, hours1), (events0, hours0))
    )
    return balance.worth(
        Range(found.estimate, found.lower, found.upper),
        (before - after) * float(hours1),
        is_saving_established=ratios.rate_ratio(events1, hours1, events0, hours0, level).upper < 1,
    )


class _Balance:
    """What both ways of counting the cases share: the cost of a case, what was spent, and the draws."""

    def __init__(
        self, cost: CostPerCase | Values, spent: float, multiplier: float, level: float, draws: int, seed: int
    ) -> None:
        self._factor = 1 + float(_inputs.not_negative("indirect_multiplier", multiplier))
        self._spent = float(_inputs.not_negative("spent", spent))
        if draws < 100:
            raise ValueError(f"draws must be 100 or more, got {draws}")
        self._cost, self._level, self._draws = cost, level, draws
        self.random = np.random.default_rng(seed)

    def worth(self, fewer: Range, avoided: Array, *, is_saving_established: bool) -> Worth:
        """The result; ``avoided`` holds the simulated cases avoided, drawn from ``random`` before."""
        per_case, drawn = money.cost_draws(self._cost, self._draws, self.random)
        savings = avoided * drawn * self._factor
        saving = fewer.estimate * per_case * self._factor
        return Worth(
            cases_avoided=fewer,
            saving=money.spread_of(saving, savings, self._level),
            net=money.spread_of(saving - self._spent, savings - self._spent, self._level),
            share_positive=float((savings > self._spent).mean()),
            is_saving_established=is_saving_established,
        )
