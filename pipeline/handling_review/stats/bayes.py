"""How probable it is that the true reduction reaches a target, from counts and a weak prior."""

from __future__ import annotations

from typing import overload

import numpy as np
from scipy import special

from handling_review.stats import _inputs
from handling_review.stats._inputs import Array, Values


def reduction_probability(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    reduction: float,
    prior_shape: float = 0.5,
    prior_hours: float = 0.0,
) -> float:
    """Probability that the true rate fell by at least ``reduction``, given the counts and the prior.

    Each rate has a gamma prior, by default Jeffreys' (shape 1/2, worth no hours). The share of group 1 in the
    two rates then has a beta distribution, and the probability is one incomplete beta function: no simulation.

    Args:
        events1, hours1: events and hours of group 1 (after). events0, hours0: of group 0 (before).
        reduction: 0.5 asks for a fall by half or more, 0 for any fall, -0.2 for no rise above 20 %. Below 1.
        prior_shape: shape of the gamma prior of both rates, above 0.
        prior_hours: hours that the prior is worth, 0 or more; its mean is ``prior_shape / prior_hours``.

    Returns:
        A probability between 0 and 1.

    Raises:
        ValueError: counts that are negative or not whole, hours not above 0, ``reduction`` of 1 or more.

    Source: Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 2; the ratio of two gamma variables is
    beta-prime.
    """
    wanted = _inputs.finite_number("reduction", reduction)
    if wanted >= 1:
        raise ValueError(f"reduction must be below 1 (0.5 is a fall by half), got {wanted}")
    shape1, time1, shape0, time0 = _posterior(events1, hours1, events0, hours0, prior_shape, prior_hours)
    odds = (1 - wanted) * (time1 / time0)
    if odds <= 1:
        return float(special.betainc(shape1, shape0, odds / (1 + odds)))
    return float(special.betaincc(shape0, shape1, 1 / (1 + odds)))


@overload
def ratio_quantiles(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    probabilities: float,
    prior_shape: float = ...,
    prior_hours: float = ...,
) -> float: ...
@overload
def ratio_quantiles(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    probabilities: Values,
    prior_shape: float = ...,
    prior_hours: float = ...,
) -> Array: ...
def ratio_quantiles(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    probabilities: float | Values,
    prior_shape: float = 0.5,
    prior_hours: float = 0.0,
) -> float | Array:
    """Quantiles of the true rate ratio (group 1 over group 0), given the counts and the prior.

    Args: as in ``reduction_probability``; ``probabilities`` strictly between 0 and 1, one or a 1-D list.

    Returns:
        The ratios below which the true one lies with these probabilities; float or 1-D array.

    Raises:
        ValueError: as in ``reduction_probability``; probabilities outside (0, 1).
    """
    shape1, time1, shape0, time0 = _posterior(events1, hours1, events0, hours0, prior_shape, prior_hours)
    p = _inputs.numbers("probabilities", probabilities)
    if (p <= 0).any() or (p >= 1).any():
        raise ValueError("probabilities must be between 0 and 1")
    share = special.betaincinv(shape1, shape0, p)
    rest = special.betainccinv(shape0, shape1, p)  # 1 - share, without losing digits near 1
    found = np.asarray(share / rest * (time0 / time1), dtype=np.float64)
    return float(found) if found.ndim == 0 else found


def _posterior(
    events1: float, hours1: float, events0: float, hours0: float, prior_shape: float, prior_hours: float
) -> tuple[float, float, float, float]:
    shape = _inputs.positive_number("prior_shape", prior_shape)
    worth = float(_inputs.not_negative("prior_hours", prior_hours))
    return (
        _inputs.count("events1", events1) + shape,
        _inputs.positive_number("hours1", hours1) + worth,
        _inputs.count("events0", events0) + shape,
        _inputs.positive_number("hours0", hours0) + worth,
    )
