"""Designs by each unit's own start: comparison units, the interrupted series, and the two models of unit quarters."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from handling_review.evidence.panel import (
    ADJUSTED,
    COMPARISON,
    FEWEST_QUARTERS,
    INTERRUPTED,
    NOT_STARTED,
    STAGGERED,
    STARTED,
    STARTING,
    Array,
    Check,
    Codes,
    Designed,
    Flags,
    Panel,
    enough_cases,
    error_of_two,
    total,
    with_result,
)
from handling_review.stats import groups, models, series

WIDEST = 1e6  # a yearly change known no better than to a millionfold says nothing


def comparison(panel: Panel, confidence: float) -> Designed:
    """Units with the program against units without, over the same calendar quarters on either side of the roll-out."""
    has = ~panel.is_comparison
    first, last = roll_out(panel)
    early, late = panel.quarter < first, panel.quarter > last
    cells = [
        (float(panel.events[rows].sum()), float(panel.hours[rows].sum()))
        for rows in (has & late, has & early, ~has & late, ~has & early)
    ]
    (events1, hours1), (events0, hours0), (control1, control_hours1), (control0, control_hours0) = cells
    blank = Designed(COMPARISON, events1=events1, hours1=hours1, events0=events0, hours0=hours0)
    if not panel.is_comparison.any():
        return replace(blank, reason="no unit is marked as a comparison unit")
    if not all(hours for _, hours in cells):
        return replace(blank, reason="no quarters lie wholly before the first start and wholly after the last one")
    if not all(a + b for a, b in ((events1, events0), (control1, control0), (events1, control1), (events0, control0))):
        return replace(blank, reason="a group or a side has no case at all")
    found = groups.difference_in_differences(
        events1, hours1, events0, hours0, control1, control_hours1, control0, control_hours0, confidence
    )
    checks = (
        _parallel(panel, first),
        Check(
            "The comparison units have enough cases.",
            min(control1, control0) >= 5,
            f"They have {control0:.0f} cases before and {control1:.0f} after.",
        ),
        enough_cases(events1, events0),
    )
    error = math.hypot(
        error_of_two(hours1, hours0, events1 + events0),
        error_of_two(control_hours1, control_hours0, control1 + control0),
    )
    return with_result(blank, found.estimate, found.lower, found.upper, found.p_value, error, checks)


def interrupted(panel: Panel, confidence: float) -> Designed:
    """Quarterly series of the units with the program: the step at the start against the line before it."""
    events, hours, start = series_of(panel, ~panel.is_comparison)
    n = events.size
    before, after = slice(0, start), slice(start, n)
    blank = Designed(
        INTERRUPTED,
        events1=total(events[after]),
        hours1=total(hours[after]),
        events0=total(events[before]),
        hours0=total(hours[before]),
    )
    if min((hours[before] > 0).sum(), (hours[after] > 0).sum()) < FEWEST_QUARTERS:
        return replace(blank, reason=f"fewer than {FEWEST_QUARTERS} quarters lie before or after the start")
    if not (blank.events1 and blank.events0):
        return replace(blank, reason="there is no case on one of the two sides")
    fit = series.interrupted(events, hours, start, 4, confidence=confidence)
    if math.isnan(fit.level.estimate):
        return replace(blank, reason="no line could be fitted")
    starts = set(_starts(panel).values())
    shortest = int(min((hours[before] > 0).sum(), (hours[after] > 0).sum()))
    checks = (
        Check("All units started together.", len(starts) == 1, f"Quarters of start: {len(starts)}."),
        Check("Eight quarters or more lie on either side.", shortest >= 8, f"The shorter side has {shortest}."),
        Check(
            "Neighbouring quarters vary each on their own.",
            abs(fit.lag1_correlation) < 2 / math.sqrt(n),
            f"Correlation of neighbours {_signed(fit.lag1_correlation)}.",
        ),
    )
    time = (np.arange(n) + 0.5) / 4
    at = start / 4
    step = (time >= at).astype(float)
    design = np.column_stack([step, np.ones(n), time - at, step * (time - at)])
    error = _model_error(design, hours, events.sum())
    ratio = fit.level
    return with_result(blank, ratio.estimate, ratio.lower, ratio.upper, ratio.p_value, error, checks)


def series_of(panel: Panel, rows: Flags, quarters: int | None = None) -> tuple[Array, Array, int]:
    """Cases and hours of some units by quarter, and the first quarter in which half of the hours are in begun units.

    ``quarters``: how many there are, by default up to the last one in the panel. The start is that number where no
    quarter is such a one.
    """
    n = int(panel.quarter.max(initial=-1)) + 1 if quarters is None else quarters
    events, hours, begun = (
        np.bincount(panel.quarter[kept], values[kept], n).astype(float)
        for kept, values in (
            (rows, panel.events),
            (rows, panel.hours),
            (rows & (panel.state != NOT_STARTED), panel.hours),
        )
    )
    is_begun = (hours > 0) & (2 * begun >= hours)
    return events, hours, int(np.argmax(is_begun)) if is_begun.any() else n


def adjusted(panel: Panel, confidence: float) -> Designed:
    """Poisson model of unit quarters: unit effects, a steady yearly change, and started or not."""
    return _model(panel, confidence, ADJUSTED)


def staggered(panel: Panel, confidence: float) -> Designed:
    """Units that started against units that had not yet, in the same quarter, each unit held against itself too.

    A Poisson model with an effect for every unit and every calendar quarter; comparison units are units that never
    start. The errors are widened by the dispersion.
    """
    return _model(panel, confidence, STAGGERED)


def _model(panel: Panel, confidence: float, design: str) -> Designed:
    used = (panel.state != STARTING) & (panel.hours > 0)
    exposed = (panel.state[used] == STARTED).astype(float)
    events, hours = panel.events[used], panel.hours[used]
    unit, quarter = panel.unit[used], panel.quarter[used]
    on, off = exposed == 1, exposed == 0
    blank = Designed(
        design, events1=total(events[on]), hours1=total(hours[on]), events0=total(events[off]), hours0=total(hours[off])
    )
    if not (on.any() and off.any()):
        return replace(blank, reason="there are no hours on one of the two sides")
    if not (blank.events1 and blank.events0):
        return replace(blank, reason="there is no case on one of the two sides")
    if design == STAGGERED:
        terms = [_dummies(unit), _dummies(quarter)[:, 1:]]
    else:
        terms = [_dummies(unit), (quarter[:, None] - quarter.mean()) / 4]
    error = _model_error(np.column_stack([exposed, *terms]), hours, events.sum())
    if not math.isfinite(error):
        return replace(blank, reason="starting cannot be told apart from the passing of time: all units began together")
    fit = fitted(panel, design, confidence)
    if fit.method != "quasi_poisson":
        return replace(blank, reason="the model could not be fitted to so few cases")
    starts = len({int(q) for q in _starts(panel).values()})
    first = roll_out(panel)[0]
    if design == STAGGERED:
        checks: tuple[Check, ...] = (
            Check(
                "Units started at different times, or some did not start.",
                starts >= 2 or bool(panel.is_comparison.any()),
                f"Quarters of start: {starts}; comparison units: {len(set(panel.unit[panel.is_comparison].tolist()))}.",
            ),
            _parallel(panel, first) if panel.is_comparison.any() else _parallel_cohorts(panel),
        )
    else:
        checks = (
            Check(
                "Without the program the rate would have gone on changing by the same share each year.",
                None,
                f"{len(set(quarter.tolist()))} quarters are in the model; a sudden change in all units at once would "
                "count as the program's.",
            ),
        )
    spread = Check(
        "Cases vary no more than by chance.",
        fit.dispersion <= 1.5,
        f"Spread over chance {fit.dispersion:.2f}, allowed for.",
    )
    return with_result(
        blank,
        fit.estimate,
        fit.lower,
        fit.upper,
        fit.p_value,
        error,
        (*checks, spread, enough_cases(blank.events1, blank.events0)),
    )


def fitted(panel: Panel, design: str, confidence: float, method: str = "quasi_poisson") -> models.ModelRatio:
    """The model of unit quarters, however few the cases; its ``method`` says what came of it."""
    used = (panel.state != STARTING) & (panel.hours > 0)
    unit, quarter = panel.unit[used], panel.quarter[used]
    by_quarter = design == STAGGERED
    return models.poisson_ratio(
        panel.events[used],
        panel.hours[used],
        (panel.state[used] == STARTED).astype(float),
        factors={"unit": unit, "quarter": quarter} if by_quarter else {"unit": unit},
        covariates=None if by_quarter else {"years": quarter / 4},
        confidence=confidence,
        method=method,
        events_per_parameter=0,
    )


def _model_error(design: Array, hours: Array, events: float) -> float:
    """Expected standard error of the first coefficient when the rate is the same everywhere; ``inf`` if not told."""
    if not events:
        return math.inf
    weight = np.sqrt(hours * (events / hours.sum()))
    scaled = design * weight[:, None]
    target, rest = scaled[:, 0], scaled[:, 1:]
    left = target - rest @ np.linalg.lstsq(rest, target, rcond=None)[0]
    information = float(left @ left)
    return 1 / math.sqrt(information) if information > 1e-6 * float(target @ target) else math.inf


def _signed(value: float) -> str:
    return f"{value:.2f}".replace("-", "\u2212")


def _dummies(codes: Codes) -> Array:
    levels, places = np.unique(codes, return_inverse=True)
    return np.eye(levels.size)[places]


def _starts(panel: Panel) -> dict[int, int]:
    """First quarter in which each unit with the program is starting or has started."""
    begun = ~panel.is_comparison & (panel.state != NOT_STARTED)
    starts: dict[int, int] = {}
    for unit, quarter in zip(panel.unit[begun].tolist(), panel.quarter[begun].tolist(), strict=True):
        starts[unit] = min(quarter, starts.get(unit, quarter))
    return starts


def roll_out(panel: Panel) -> tuple[int, int]:
    """First quarter in which a unit starts, and the last in which one has not wholly started."""
    begun = ~panel.is_comparison & (panel.state != NOT_STARTED)
    waiting = ~panel.is_comparison & (panel.state != STARTED)
    first = int(panel.quarter[begun].min()) if begun.any() else int(panel.quarter.max(initial=0)) + 1
    last = int(panel.quarter[waiting].max()) if waiting.any() else -1
    return first, last


def _parallel(panel: Panel, first: int) -> Check:
    """Did program and comparison units move alike before the first start? A model with a slope for each group."""
    return _same_slope(panel, panel.quarter < first, (~panel.is_comparison).astype(float))


def _parallel_cohorts(panel: Panel) -> Check:
    """Did early and late starters move alike before the first start?"""
    starts = _starts(panel)
    middle = float(np.median(list(starts.values()))) if starts else 0.0
    early = np.array([starts.get(int(unit), math.inf) <= middle for unit in panel.unit], dtype=float)
    return _same_slope(panel, panel.quarter < roll_out(panel)[0], early)


def _same_slope(panel: Panel, rows: Flags, group: Array) -> Check:
    said = "The groups compared were moving alike before the start."
    rows = rows & (panel.hours > 0)
    quarters = panel.quarter[rows]
    cannot = Check(said, None, "Too few quarters or cases before the start to tell.")
    few = min((panel.events[rows & (group == side)].sum() for side in (0, 1)), default=0)
    if len(set(quarters.tolist())) < FEWEST_QUARTERS or few < 5:
        return cannot
    span = float(quarters.max() - quarters.min()) / 4
    passed = (quarters - quarters.min()) / 4 / span
    side = group[rows]
    # exposure: the passing of time in the one group; its ratio over the whole span, made yearly below
    found = models.poisson_ratio(
        panel.events[rows],
        panel.hours[rows],
        side * passed,
        factors={"group": side.tolist()},
        covariates={"time": passed},
        events_per_parameter=0,
    )
    if found.method != "quasi_poisson":
        return cannot
    is_alike, p_value = found.p_value >= 0.05, f"p = {found.p_value:.2f}"
    if not 1 / WIDEST**span <= found.lower <= found.upper <= WIDEST**span:  # it may run over the largest number
        return cannot if is_alike else Check(said, False, f"Test of equal slopes: {p_value}.")
    yearly, low, high = (value ** (1 / span) for value in (found.estimate, found.lower, found.upper))
    seen = (
        f"Yearly change of the one over the other {yearly:.2f} ({low:.2f} to {high:.2f}); test of equal slopes: "
        f"{p_value}."
    )
    return Check(said, is_alike, seen)
