"""The strata table as the arrays that the designs work on."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np
import pandas as pd

from handling_review.evidence.panel import NOT_STARTED, STARTED, STARTING, Array, Panel, Personal
from handling_review.evidence.rates import as_date
from handling_review.evidence.tables import ResultTables
from handling_review.store.settle import BANDS

# Bands of days since training by their first day, in order; the time before stands outside.
BAND_FROM = {band: first for band, first, _ in BANDS if first is not None}
HANDLING_ONLY = ("handling", "first_handling", "handling_not_respiratory")  # columns without any other injury
_CELL = ["unit", "quarter"]


class Strata:
    """The strata of the complete quarters with each unit's start: what every design and variant is summed from.

    ``complete`` are those quarters; ``quarters`` runs from the first to the last of them with none left out, so that a
    place in it is a time: an incomplete quarter between them brings no rows, but keeps its place. ``spans`` holds the
    first and the last day of each.
    ``starts`` maps a unit to the place of its first started quarter in ``quarters`` (0 when it started before the
    first one); units that never start are not in it. ``stated`` holds the units whose start the units file states;
    for others it is the first quarter in which half of the hours were worked by people past their training.
    """

    def __init__(self, tables: ResultTables, quarters: Sequence[str]) -> None:
        self.complete = tuple(quarters)
        spans = {
            str(row["quarter"]): (as_date(row["quarter_start"]), as_date(row["quarter_end"]))
            for row in tables.quarters.to_dict("records")
        }
        self.quarters = _without_gaps(self.complete, spans)
        place = {quarter: i for i, quarter in enumerate(self.quarters)}
        rows = tables.strata[tables.strata["quarter"].isin(list(self.complete))]
        self.frame = rows.assign(place=rows["quarter"].map(place).astype("int64"))
        self.units = tuple(sorted(str(unit) for unit in self.frame["unit"].unique()))
        known = {str(row["unit"]): row for row in tables.units.to_dict("records")}
        self.comparison = frozenset(
            unit
            for unit in self.units
            if unit in known and bool(known[unit]["comparison"]) and pd.isna(known[unit]["program_start"])
        )
        self.spans = {quarter: spans[quarter] for quarter in self.quarters}
        self._middles = {
            quarter: (start.toordinal() + end.toordinal()) / 2 / 365.25 for quarter, (start, end) in self.spans.items()
        }
        stated = {
            unit: as_date(known[unit]["program_start"])
            for unit in self.units
            if unit in known and not pd.isna(known[unit]["program_start"])
        }
        self.stated = frozenset(stated)
        self.starts: dict[str, int] = {}
        for unit, day in stated.items():
            at = next((i for i, q in enumerate(self.quarters) if spans[q][1] >= day), None)
            if at is not None:
                self.starts[unit] = at
        self._begun_before = frozenset(
            unit for unit, day in stated.items() if self.quarters and day < spans[self.quarters[0]][0]
        )
        for unit in self.units:
            if unit not in self.stated and unit not in self.comparison:
                at = self._half_trained(unit)
                if at is not None:
                    self.starts[unit] = at

    def _half_trained(self, unit: str) -> int | None:
        rows = self.frame[(self.frame["unit"] == unit) & (self.frame["phase"] != "unknown")]
        whole = rows.groupby("place")["hours"].sum()
        past = rows[rows["phase"].isin(["washout", "after"])].groupby("place")["hours"].sum()
        for at in sorted(whole.index.tolist()):
            if whole[at] > 0 and 2 * float(past.get(at, 0.0)) >= float(whole[at]):
                return int(at)
        return None

    def panel(self, column: str, frame: pd.DataFrame | None = None) -> Panel:
        """Unit x quarter x state of the cases in ``column``; ``frame`` narrows the rows first."""
        rows = self.frame if frame is None else frame
        state = self._states(rows)
        sums = (
            rows.assign(state=state)
            .groupby(["unit", "place", "state"], sort=True)[["hours", column]]
            .sum()
            .rename(columns={column: "cases"})
            .reset_index()
        )
        codes = {unit: i for i, unit in enumerate(self.units)}
        return Panel(
            unit=np.asarray(sums["unit"].map(codes), dtype=np.intp),
            quarter=sums["place"].to_numpy(dtype=np.intp),
            state=sums["state"].to_numpy(dtype=np.intp),
            is_comparison=sums["unit"].isin(list(self.comparison)).to_numpy(dtype=bool),
            hours=sums["hours"].to_numpy(dtype=np.float64),
            events=sums["cases"].to_numpy(dtype=np.float64),
        )

    def _states(self, rows: pd.DataFrame) -> pd.Series:
        start = rows["unit"].map(self.starts).astype("float64")
        state = pd.Series(NOT_STARTED, index=rows.index, dtype="int64")
        state[rows["place"] > start] = STARTED
        at_start = rows["place"] == start
        is_stated = rows["unit"].isin(list(self.stated))
        # A stated start splits its quarter by the day; a start seen from the training takes its whole quarter.
        state[at_start & (~is_stated | (rows["go_live_phase"] == "after"))] = STARTING
        state[at_start & rows["unit"].isin(list(self._begun_before))] = STARTED
        return state

    def personal(self, column: str, frame: pd.DataFrame | None = None, *, washout_days: int | None = None) -> Personal:
        """Unit x quarter, before and after each person's own training.

        ``washout_days`` is the first day of a band (1, 30, 90 or 180); ``None`` takes the program file's washout.
        """
        rows = self.frame if frame is None else frame
        if washout_days is None:
            after = rows["phase"] == "after"
        else:
            kept = [band for band, first in BAND_FROM.items() if first >= washout_days]
            after = rows["band"].isin(kept)
        return self._two_sides(rows, column, after, rows["phase"] == "before")

    def by_start(self, column: str, frame: pd.DataFrame | None = None) -> Personal:
        """Unit x quarter, before and after the unit's program start, everybody's hours."""
        rows = self.frame if frame is None else frame
        return self._two_sides(rows, column, rows["go_live_phase"] == "after", rows["go_live_phase"] == "before")

    def _two_sides(self, rows: pd.DataFrame, column: str, after: pd.Series, before: pd.Series) -> Personal:
        wanted = list(dict.fromkeys(("hours", column, "non_handling")))
        sums = {
            side: rows[mask].groupby(_CELL, sort=True)[wanted].sum() for side, mask in (("1", after), ("0", before))
        }
        index = sums["1"].index.union(sums["0"].index).sort_values()
        sides = {side: part.reindex(index, fill_value=0.0) for side, part in sums.items()}

        def column_of(side: str, name: str) -> Array:
            return sides[side][name].to_numpy(dtype=np.float64)

        return Personal(
            events1=column_of("1", column),
            hours1=column_of("1", "hours"),
            events0=column_of("0", column),
            hours0=column_of("0", "hours"),
            other1=column_of("1", "non_handling"),
            other0=column_of("0", "non_handling"),
            years_apart=self._years_apart(rows, after, before),
            holds_others=column not in HANDLING_ONLY,
        )

    def _years_apart(self, rows: pd.DataFrame, after: pd.Series, before: pd.Series) -> float:
        def middle(mask: pd.Series) -> float:
            part = rows[mask].groupby("quarter")["hours"].sum()
            whole = float(part.sum())
            return math.fsum(self._middles[str(q)] * h for q, h in part.items()) / whole if whole else float("nan")

        return middle(after) - middle(before)

    def labels(self) -> Mapping[int, str]:
        """Quarter labels by place."""
        return dict(enumerate(self.quarters))


def _without_gaps(complete: Sequence[str], spans: Mapping[str, tuple[date, date]]) -> tuple[str, ...]:
    """Every known quarter from the first to the last of some, in order of time."""
    if not complete:
        return ()
    first, last = min(spans[quarter][0] for quarter in complete), max(spans[quarter][0] for quarter in complete)
    return tuple(sorted((q for q, (start, _) in spans.items() if first <= start <= last), key=lambda q: spans[q][0]))
