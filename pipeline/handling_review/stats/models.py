"""The rate ratio adjusted for unit, calendar time and the like, by Poisson regression."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handling_review.stats import _glm, _inputs, strata
from handling_review.stats._inputs import Array, Values

Labels = Sequence[object] | NDArray[Any]  # one label per row: a unit, a calendar quarter

METHODS = ("quasi_poisson", "poisson", "cluster", "negative_binomial")
FEWEST_CLUSTERS = 40  # with fewer the clustered errors come out too small (Cameron & Miller 2015)
EVENTS_PER_PARAMETER = 10.0
_NO_ESTIMATE = "the model has no finite estimate"
_SMALLEST_ALPHA = 1e-5  # extra variance of the negative binomial below which it is Poisson


@dataclass(frozen=True)
class ModelRatio:
    """An adjusted rate ratio.

    Attributes:
        estimate, lower, upper: ratio of the rate with to the rate without exposure, and its interval.
        dispersion: Pearson chi-square over residual degrees of freedom of the fit (1 when Poisson holds);
            ``nan`` where no model was fitted.
        method: what was used in the end; one of ``METHODS``, or a method of ``strata``, or
            ``not_estimable``.
        n_parameters: parameters of the model, also where it was not used for having too many.
        notes: what was replaced or left out, as sentences.
        p_value: two-sided, ratio 1, by the same method as the interval.
        standard_error: of the log ratio; ``nan`` for exact methods.
        alpha: extra variance (variance = mean + alpha mean^2), 0 but for the negative binomial.
    """

    estimate: float
    lower: float
    upper: float
    dispersion: float
    method: str
    n_parameters: int
    notes: tuple[str, ...] = ()
    p_value: float = math.nan
    standard_error: float = math.nan
    alpha: float = 0.0


@dataclass(frozen=True, eq=False)
class _Rows:
    events: Array
    hours: Array
    exposed: Array
    factors: dict[str, NDArray[np.intp]]  # codes 0..k-1 per row
    covariates: dict[str, Array]
    clusters: NDArray[np.intp] | None
    notes: tuple[str, ...]

    def only(self, kept: NDArray[np.bool_], note: str) -> _Rows:
        return _Rows(
            self.events[kept],
            self.hours[kept],
            self.exposed[kept],
            {name: np.unique(codes[kept], return_inverse=True)[1] for name, codes in self.factors.items()},
            {name: values[kept] for name, values in self.covariates.items()},
            None if self.clusters is None else np.unique(self.clusters[kept], return_inverse=True)[1],
            (*self.notes, note),
        )


def poisson_ratio(
    events: Values,
    hours: Values,
    exposed: Values,
    *,
    factors: Mapping[str, Labels] | None = None,
    covariates: Mapping[str, Values] | None = None,
    clusters: Labels | None = None,
    confidence: float = 0.95,
    method: str = "quasi_poisson",
    fewest_clusters: int = FEWEST_CLUSTERS,
    events_per_parameter: float = EVENTS_PER_PARAMETER,
) -> ModelRatio:
    """Rate ratio of exposed to unexposed hours, adjusted, from a Poisson model with log hours as offset.

    Args:
        events, hours: one entry per row (unit x quarter x phase); rows without hours are left out.
        exposed: 0 or 1 per row (after training), or a share in between.
        factors: name -> one label per row; each label gets its own effect (unit, calendar quarter).
        covariates: name -> one number per row, entering linearly (years).
        clusters: one label per row, for ``method="cluster"``.
        confidence: for example 0.95.
        method: ``quasi_poisson`` (errors widened by the square root of Pearson / df, never narrowed, t with
            the residual df), ``poisson``, ``cluster`` (CR1 sandwich, t with clusters - 1 df) or
            ``negative_binomial`` (maximum likelihood).
        fewest_clusters: with fewer clusters the quasi-Poisson errors are used instead, with a note.
        events_per_parameter: with fewer events than this per parameter a 0/1 exposure is compared within
            strata of the factors instead (``strata.common_ratio``), with a note.

    Returns:
        ``ModelRatio``; ``method`` and ``notes`` say what was used and why.

    Raises:
        ValueError: bad counts or hours, events without hours, unequal lengths, unknown method, cluster
            labels missing.

    Source: McCullagh & Nelder 1989, Generalized Linear Models, ch. 6; Liang & Zeger 1986, Biometrika
    73:13-22; Cameron & Miller 2015, J Hum Resour 50:317-372; Venables & Ripley 2002, ch. 7 (negative
    binomial).
    """
    level = _inputs.share("confidence", confidence)
    _inputs.choice("method", method, METHODS)
    if method == "cluster" and clusters is None:
        raise ValueError("clusters must be given for method 'cluster'")
    rows = _without_silent_levels(_checked(events, hours, exposed, factors, covariates, clusters))
    design = _design(rows)
    n_parameters = design.shape[1]
    blank = ModelRatio(math.nan, 0.0, math.inf, math.nan, "not_estimable", n_parameters, rows.notes, 1.0)
    if not _is_estimable(design):
        return _noted(blank, "the exposure cannot be told apart from the other terms")
    is_binary = bool(np.isin(rows.exposed, (0, 1)).all())
    if is_binary and 0 in (rows.events @ rows.exposed, rows.events @ (1 - rows.exposed)):
        return _within_strata(rows, blank, level, "no event on one side: no model can be fitted")
    if rows.events.sum() < events_per_parameter * n_parameters:
        note = f"{rows.events.sum():.0f} events for {n_parameters} parameters, fewer than wished"
        if is_binary:
            return _within_strata(rows, blank, level, note)
        blank = _noted(blank, note)
    try:
        found = _fitted(rows, design, blank, level, method, fewest_clusters)
    except _glm.Diverged:
        found = _noted(blank, _NO_ESTIMATE)
    if found.method == "not_estimable" and is_binary:
        return _within_strata(rows, blank, level, found.notes[-1])
    return found


def _fitted(rows: _Rows, design: Array, blank: ModelRatio, level: float, method: str, fewest: int) -> ModelRatio:
    if method == "cluster" and rows.clusters is not None:
        n_clusters = int(rows.clusters.max()) + 1
        if n_clusters >= max(fewest, 2):
            fit = _glm.poisson(rows.events, rows.hours, design, clusters=rows.clusters)
            return _result(fit, blank, level, method, 1.0, n_clusters - 1)
        blank = _noted(blank, f"{n_clusters} clusters are fewer than {fewest}: quasi-Poisson errors used")
        method = "quasi_poisson"
    if method == "negative_binomial":
        found = _negative_binomial(rows, design, blank, level)
        if found is not None:
            return found
        blank = _noted(blank, "no variance beyond Poisson's to be estimated: quasi-Poisson errors used")
        method = "quasi_poisson"
    fit = _glm.poisson(rows.events, rows.hours, design)
    if method == "poisson":
        return _result(fit, blank, level, method, 1.0, None)
    if fit.df_residual < 1:
        return _result(fit, _noted(blank, "as many parameters as rows"), level, "poisson", 1.0, None)
    return _result(fit, blank, level, method, fit.scale, fit.df_residual)


def _result(fit: _glm.Fit, blank: ModelRatio, level: float, method: str, scale: float, df: int | None) -> ModelRatio:
    log_ratio, error = float(fit.coefficients[-1]), fit.standard_error(-1, scale)
    if abs(log_ratio) > _glm.STEEP or not math.isfinite(error):
        return _noted(blank, _NO_ESTIMATE)
    reach = _glm.reach(level, df)
    return replace(
        blank,
        estimate=math.exp(log_ratio),
        lower=_glm.exp(log_ratio - reach * error),
        upper=_glm.exp(log_ratio + reach * error),
        dispersion=fit.dispersion,
        method=method,
        p_value=_glm.two_sided_p(log_ratio / error, df),
        standard_error=error,
    )


def _negative_binomial(rows: _Rows, design: Array, blank: ModelRatio, level: float) -> ModelRatio | None:
    """Profile likelihood over alpha; ``None`` when it has its maximum at (or next to) Poisson."""
    from scipy import optimize

    nearest: Array | None = None

    def loss(log_alpha: float) -> float:
        nonlocal nearest  # neighbouring alphas have neighbouring coefficients: start from the last ones
        found, likelihood = _glm.negative_binomial(rows.events, rows.hours, design, math.exp(log_alpha), nearest)
        nearest = found.coefficients
        return -likelihood

    bounds = (math.log(_SMALLEST_ALPHA), math.log(1e3))
    best = optimize.minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-9})
    if loss(bounds[0]) <= float(best.fun) + 1e-9 or best.x > bounds[1] - 1e-3:
        return None
    fit, _ = _glm.negative_binomial(rows.events, rows.hours, design, math.exp(best.x))
    return replace(_result(fit, blank, level, "negative_binomial", 1.0, None), alpha=math.exp(float(best.x)))


def _within_strata(rows: _Rows, blank: ModelRatio, level: float, why: str) -> ModelRatio:
    """The ratio within the strata that the factors make, instead of a model."""
    columns = list(rows.factors.values()) or [np.zeros(rows.events.size, dtype=np.intp)]
    cells = np.unique(np.column_stack(columns), axis=0, return_inverse=True)[1].ravel()
    size = int(cells.max()) + 1
    on, off = rows.exposed == 1, rows.exposed == 0
    sums = [
        np.bincount(cells[side], weights=values[side], minlength=size)
        for side in (on, off)
        for values in (rows.events, rows.hours)
    ]
    found = strata.common_ratio(sums[0], np.round(sums[1], 9), sums[2], np.round(sums[3], 9), level)
    notes = [f"{why}: compared within strata instead"]
    if rows.covariates:
        notes.append(f"not adjusted for {', '.join(rows.covariates)}")
    return replace(
        blank,
        estimate=found.estimate,
        lower=found.lower,
        upper=found.upper,
        method="not_estimable" if math.isnan(found.estimate) else found.method,
        notes=(*blank.notes, *notes, *found.notes),
        p_value=found.p_value,
    )


def _checked(
    events: Values,
    hours: Values,
    exposed: Values,
    factors: Mapping[str, Labels] | None,
    covariates: Mapping[str, Values] | None,
    clusters: Labels | None,
) -> _Rows:
    y, t, x = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events=_inputs.counts("events", events),
            hours=_inputs.not_negative("hours", hours),
            exposed=_inputs.not_negative("exposed", exposed),
        )
    )
    if (x > 1).any():
        raise ValueError("exposed must be between 0 and 1")
    if ((t == 0) & (y > 0)).any():
        raise ValueError("hours must be above 0 wherever there are events")
    numbers = {name: _inputs.numbers(name, values) for name, values in (covariates or {}).items()}
    codes = {name: np.unique(np.asarray(of), return_inverse=True)[1] for name, of in (factors or {}).items()}
    groups = None if clusters is None else np.unique(np.asarray(clusters), return_inverse=True)[1]
    for name, column in {**numbers, **codes, "clusters": groups}.items():
        if column is not None and column.shape != y.shape:
            raise ValueError(f"{name} must have one entry per row ({y.size}), got {column.size}")
    rows = _Rows(y, t, x, codes, numbers, groups, ())
    if (t == 0).any():
        rows = rows.only(t > 0, f"{int((t == 0).sum())} rows without hours left out")
    if rows.events.size == 0:
        raise ValueError("hours must be above 0 in at least one row")
    return rows


def _without_silent_levels(rows: _Rows) -> _Rows:
    """Without the rows of factor levels that have no event: they say nothing about the ratio."""
    if rows.events.sum() == 0:
        return rows
    while True:
        kept = np.ones(rows.events.size, dtype=np.bool_)
        for codes in rows.factors.values():
            kept &= (np.bincount(codes, weights=rows.events) > 0)[codes]
        if kept.all():
            return rows
        rows = rows.only(kept, f"{int((~kept).sum())} rows of units or times without any event left out")


def _design(rows: _Rows) -> Array:
    """Intercept, factor levels but the first, covariates, and the exposure as last column."""
    columns = [np.ones(rows.events.size)]
    for codes in rows.factors.values():
        columns += [(codes == level).astype(np.float64) for level in range(1, int(codes.max()) + 1)]
    columns += [values - values.mean() for values in rows.covariates.values()]
    others = np.column_stack(columns)
    return np.column_stack([others[:, _glm.independent_columns(others)], rows.exposed])


def _is_estimable(design: Array) -> bool:
    return len(_glm.independent_columns(design)) == int(design.shape[1])


def _noted(ratio: ModelRatio, note: str) -> ModelRatio:
    return replace(ratio, notes=(*ratio.notes, note))
