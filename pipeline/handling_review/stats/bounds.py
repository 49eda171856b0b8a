"""How far the headline could move if records that could not be classified were all of one kind."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.stats import _inputs, ratios
from handling_review.stats.ratios import Ratio


@dataclass(frozen=True)
class RatioBounds:
    """The rate ratio under four readings of the unclear records.

    Attributes:
        as_classified: none of them counted.
        all_counted: all of them counted.
        most_favourable: those before counted, those after not (the lowest ratio there can be).
        least_favourable: those after counted, those before not (the highest).
    """

    as_classified: Ratio
    all_counted: Ratio
    most_favourable: Ratio
    least_favourable: Ratio


def ratio_bounds(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    unclear1: float,
    unclear0: float,
    confidence: float = 0.95,
    method: str = "mid_p",
) -> RatioBounds:
    """``ratios.rate_ratio`` with the unclear records counted for and against the program.

    Args:
        events1, hours1, events0, hours0, confidence, method: as in ``ratios.rate_ratio``, single numbers.
        unclear1, unclear0: records after and before that may or may not be events of this kind.

    Returns:
        ``RatioBounds``; whatever the truth about each record, the plain ratio lies between the two extremes.

    Raises:
        ValueError: as in ``ratios.rate_ratio``.

    Source: worst-case bounds for missing data, Manski 1990, Am Econ Rev 80:319-323.
    """
    seen1, seen0 = _inputs.count("events1", events1), _inputs.count("events0", events0)
    more1, more0 = _inputs.count("unclear1", unclear1), _inputs.count("unclear0", unclear0)

    def ratio(plus1: int, plus0: int) -> Ratio:
        return ratios.rate_ratio(seen1 + plus1, hours1, seen0 + plus0, hours0, confidence, method)

    return RatioBounds(
        as_classified=ratio(0, 0),
        all_counted=ratio(more1, more0),
        most_favourable=ratio(0, more0),
        least_favourable=ratio(more1, 0),
    )
