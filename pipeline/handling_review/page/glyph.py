"""Small dot-and-interval pictures for table cells: geometry only, the template draws it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from handling_review.evidence.contrast import Estimate
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number

WIDTH, HEIGHT = 112, 18
_MARGIN = 5.0


@dataclass(frozen=True)
class Glyph:
    """One picture in a cell. Positions are in its own units, left to right.

    ``dot`` is ``None`` when there is no estimate; ``is_limit`` says that the line is an upper limit only,
    ``is_open`` that the dot is hollow (few cases, provisional), ``runs_off`` that the line goes on to the right.
    """

    line_from: float
    line_to: float
    dot: float | None
    mark: float | None
    is_limit: bool
    is_open: bool
    runs_off: bool


@dataclass(frozen=True)
class Scale:
    """A common scale for one column of glyphs: from ``low`` to ``high``, logarithmic for ratios."""

    low: float
    high: float
    is_log: bool = False

    def at(self, value: float) -> float:
        """Where a value lies, kept inside the picture."""
        low, high, here = self.low, self.high, value
        if self.is_log:
            low, high, here = math.log(low), math.log(high), math.log(max(value, self.low))
        share = 0.0 if high <= low else (here - low) / (high - low)
        return round(_MARGIN + min(max(share, 0.0), 1.0) * (WIDTH - 2 * _MARGIN), 1)


def rate_scale(rates: Iterable[Rate]) -> Scale:
    """From 0 to the highest rate or limit, but not so far that one wide interval flattens the rest."""
    rates = tuple(rates)
    ends = [_value(r.upper) or _value(r.limit) for r in rates]
    known = sorted(end for end in ends if end)
    points = [value for r in rates if (value := _value(r.rate))]
    if not known:
        return Scale(0, 1)
    middle = known[len(known) // 2]
    return Scale(0, max(min(known[-1], 2.5 * middle), 1.15 * max(points, default=0)))


def ratio_scale() -> Scale:
    """From a tenth to ten times, 1 in the middle; intervals beyond it run off the picture."""
    return Scale(0.1, 10, is_log=True)


def rate_glyph(rate: Rate, scale: Scale, mark: Number | None = None, *, is_open: bool = False) -> Glyph | None:
    """The picture of a rate with its interval, or its upper limit alone; ``None`` when there is neither."""
    reference = None if mark is None or mark.value is None else scale.at(mark.value)
    if rate.limit is not None and rate.limit.value is not None:
        end = rate.limit.value
        dot = None if rate.rate is None else scale.at(0)
        return Glyph(scale.at(0), scale.at(end), dot, reference, True, True, end > scale.high)
    if rate.rate is None or rate.lower is None or rate.upper is None:
        return None
    return Glyph(
        line_from=scale.at(_value(rate.lower) or 0),
        line_to=scale.at(_value(rate.upper) or 0),
        dot=scale.at(_value(rate.rate) or 0),
        mark=reference,
        is_limit=False,
        is_open=is_open or rate.reliability != "plain",
        runs_off=(_value(rate.upper) or 0) > scale.high,
    )


def ratio_glyph(estimate: Estimate | None, *, is_open: bool = False) -> Glyph | None:
    """The picture of a ratio with its interval on a logarithmic scale, a mark at 1."""
    if estimate is None or estimate.value.value is None:
        return None
    scale = ratio_scale()
    high = _value(estimate.upper)
    end = scale.high if high is None or math.isinf(high) else high
    point = estimate.value.value
    return Glyph(
        line_from=scale.at(_value(estimate.lower) or 0),
        line_to=scale.at(end),
        dot=None if math.isinf(point) or point == 0 else scale.at(point),
        mark=scale.at(1),
        is_limit=point == 0,
        is_open=is_open,
        runs_off=high is None or high > scale.high,
    )


def share_glyph(estimate: Estimate | None) -> Glyph | None:
    """The picture of a share between 0 and 1 with its interval."""
    if estimate is None:
        return None
    scale = Scale(0, 1)
    ends = [scale.at(_value(n) or 0) for n in (estimate.lower, estimate.upper, estimate.value)]
    return Glyph(ends[0], ends[1], ends[2], None, False, False, False)


def bar_glyph(share: Number | None) -> Glyph | None:
    """The picture of a plain share: a line from 0 to it with a dot at the end."""
    if share is None or share.value is None:
        return None
    scale = Scale(0, 1)
    return Glyph(scale.at(0), scale.at(share.value), scale.at(share.value), None, False, False, False)


def _value(number: Number | None) -> float | None:
    return None if number is None else number.value
