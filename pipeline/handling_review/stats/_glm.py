"""One Poisson regression with log hours as offset, with the errors that the callers choose between."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from handling_review.stats._inputs import Array

Codes = NDArray[np.intp]

LARGEST_LOG = 700.0  # its exponential is a limit beyond any rate, and still a number
STEEP = 15.0  # a log ratio this far from 0 is not an estimate but a fit running off to infinity


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted model. ``covariance`` is of the kind asked for, before any scaling by the dispersion."""

    coefficients: Array
    covariance: Array
    fitted: Array
    pearson: float
    df_residual: int

    @property
    def dispersion(self) -> float:
        """Pearson chi-square over residual degrees of freedom; ``nan`` with none left."""
        return self.pearson / self.df_residual if self.df_residual > 0 else float("nan")

    @property
    def scale(self) -> float:
        """The dispersion, floored at 1: the intervals are never made shorter than Poisson's."""
        return max(1.0, self.dispersion) if self.df_residual > 0 else 1.0

    def standard_error(self, place: int, scale: float = 1.0) -> float:
        """Standard error of one coefficient, the covariance multiplied by ``scale``."""
        return float(np.sqrt(max(0.0, self.covariance[place, place]) * scale))


class Diverged(ArithmeticError):
    """A fit that ran off the range of numbers: there is no finite estimate."""


def exp(log_value: float) -> float:
    """Exponential that ends at a very large number instead of in an overflow."""
    return float(np.exp(min(log_value, LARGEST_LOG)))


def poisson(
    events: Array, hours: Array, design: Array, *, clusters: Codes | None = None, lags: int | None = None
) -> Fit:
    """Maximum likelihood fit; ``clusters`` asks for the CR1 sandwich, ``lags`` for Newey-West.

    ``hours`` above 0; ``design`` has one row per entry and full column rank. Raises ``Diverged``.
    """
    from statsmodels.genmod import families

    return _fit(events, hours, design, families.Poisson(), clusters, lags)


def negative_binomial(
    events: Array, hours: Array, design: Array, alpha: float, start: Array | None = None
) -> tuple[Fit, float]:
    """Fit with variance ``mean + alpha * mean**2`` at a given ``alpha``; also the log likelihood.

    ``start``: coefficients to begin from, for many fits that differ little.
    """
    from statsmodels.genmod import families

    fit = _fit(events, hours, design, families.NegativeBinomial(alpha=alpha), None, None, start)
    size, mean = 1 / alpha, fit.fitted
    logs = (
        special.gammaln(events + size)
        - special.gammaln(size)
        - special.gammaln(events + 1)
        - size * np.log1p(alpha * mean)
        + special.xlogy(events, alpha * mean)
        - events * np.log1p(alpha * mean)
    )
    return fit, float(logs.sum())


def _fit(
    events: Array,
    hours: Array,
    design: Array,
    family: object,
    clusters: Codes | None,
    lags: int | None,
    start: Array | None = None,
) -> Fit:
    from statsmodels.genmod.generalized_linear_model import GLM

    model = GLM(events, design, family=family, offset=np.log(hours))
    options: dict[str, object] = {"tol": 1e-13, "tol_criterion": "params", "maxiter": 200, "start_params": start}
    if clusters is not None:
        options |= {"cov_type": "cluster", "cov_kwds": {"groups": clusters, "use_correction": True}}
    elif lags is not None:
        options |= {"cov_type": "HAC", "cov_kwds": {"maxlags": lags, "use_correction": True}}
    with warnings.catch_warnings():  # callers look at the coefficients themselves, see STEEP
        warnings.simplefilter("ignore")
        try:
            done = model.fit(**options)
        except (ValueError, ZeroDivisionError, np.linalg.LinAlgError) as error:
            # The inputs were checked before; what the library objects to here are weights that are no numbers any
            # more, or a correction by rows minus parameters where none is left over.
            raise Diverged(str(error)) from error
    return Fit(
        np.asarray(done.params, dtype=np.float64),
        np.asarray(done.cov_params(), dtype=np.float64),
        np.asarray(done.mu, dtype=np.float64),
        float(done.pearson_chi2),
        int(done.df_resid),
    )


def reach(confidence: float, df: int | None = None) -> float:
    """How many standard errors an interval reaches: normal, or Student's t with ``df``."""
    if df is None:
        return float(special.ndtri((1 + confidence) / 2))
    return float(special.stdtrit(df, (1 + confidence) / 2))


def two_sided_p(z: float, df: int | None = None) -> float:
    """Two-sided p-value of an estimate over its standard error."""
    below = special.ndtr(-abs(z)) if df is None else special.stdtr(df, -abs(z))
    return min(1.0, 2 * float(below))


def independent_columns(design: Array) -> list[int]:
    """Columns, first come first served, none a combination of the ones kept before it."""
    kept: list[int] = []
    basis = np.empty((design.shape[0], 0))
    for place in range(design.shape[1]):
        column = design[:, place] / (np.linalg.norm(design[:, place]) or 1.0)
        rest = column - basis @ (basis.T @ column)
        rest = rest - basis @ (basis.T @ rest)  # once more, against rounding
        if np.linalg.norm(rest) > 1e-8:
            basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
            kept.append(place)
    return kept
