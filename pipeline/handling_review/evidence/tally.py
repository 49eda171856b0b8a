"""Cases and hours added up before anything is divided."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import pandas as pd

SERIES = ("handling", "recordable", "dart", "days_away")
COMPARISON_SERIES = "non_handling"
ALL_SERIES = (*SERIES, COMPARISON_SERIES, "first_aid")
PHASES = ("before", "washout", "after", "never", "unknown")

_HOURS_SCALE = 10_000  # hours carry four decimals; whole ten-thousandths add up without rounding


@dataclass(frozen=True)
class Tally:
    """Cases counted and hours worked in the same place and time."""

    events: int = 0
    hours: float = 0.0

    def __add__(self, other: Tally) -> Tally:
        """Both sums together."""
        whole = round(self.hours * _HOURS_SCALE) + round(other.hours * _HOURS_SCALE)
        return Tally(self.events + other.events, whole / _HOURS_SCALE)

    def __sub__(self, other: Tally) -> Tally:
        """What is left of a total without one part."""
        whole = round(self.hours * _HOURS_SCALE) - round(other.hours * _HOURS_SCALE)
        return Tally(self.events - other.events, whole / _HOURS_SCALE)


class PersonTime:
    """The person-time table, added up by any of its columns."""

    def __init__(self, frame: pd.DataFrame) -> None:
        scaled = (frame["hours"].astype("float64") * _HOURS_SCALE).round().astype("int64")
        self._frame = frame.assign(hours_scaled=scaled, events=frame["events"].astype("int64"))

    def within(self, quarters: Collection[str]) -> PersonTime:
        """The same table, these quarters only."""
        return PersonTime(self._frame[self._frame["quarter"].isin(list(quarters))])

    def current(self) -> PersonTime:
        """The same table without hours and cases after training has lapsed."""
        return PersonTime(self._frame[~self._frame["lapsed"].astype(bool)])

    def by(self, *columns: str) -> Mapping[tuple[object, ...], Tally]:
        """Tallies by the given columns and series: the key is the column values, the series last."""
        keys = [*columns, "series"]
        sums = self._frame.groupby(keys, sort=True)[["events", "hours_scaled"]].sum()
        found: dict[tuple[object, ...], Tally] = {}
        for key, events, scaled in zip(
            sums.index.tolist(), sums["events"].tolist(), sums["hours_scaled"].tolist(), strict=True
        ):
            parts = key if isinstance(key, tuple) else (key,)
            found[parts] = Tally(int(events), int(scaled) / _HOURS_SCALE)
        return found
