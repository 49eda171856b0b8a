"""Does the review agree with the posted annual summary (Form 300A)? Whole calendar years only."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number
from handling_review.evidence.tables import ResultTables

HOURS_AGREE_WITHIN = 0.005  # posted hours are often rounded or estimated; half a percent moves no printed rate


@dataclass(frozen=True)
class Figure:
    """One figure of one year: as posted, as in the review, and rows of that year that could not be used."""

    year: int
    figure: str
    posted: Number
    in_review: Number
    gap: Number
    set_aside: Number
    agrees: bool


@dataclass(frozen=True)
class Reconciliation:
    """Figures of the whole years in order, and the years that the review covers in part only."""

    figures: tuple[Figure, ...]
    years: tuple[int, ...]
    part_years: tuple[int, ...]

    @property
    def is_given(self) -> bool:
        """Whether the facility supplied a posted summary at all."""
        return bool(self.years or self.part_years)

    @property
    def agreeing(self) -> tuple[int, ...]:
        """The whole years in which every figure agrees."""
        off = {figure.year for figure in self.differing}
        return tuple(year for year in self.years if year not in off)

    @property
    def differing(self) -> tuple[Figure, ...]:
        """The figures that do not agree."""
        return tuple(figure for figure in self.figures if not figure.agrees)


def gather(tables: ResultTables) -> Reconciliation:
    """Figures of the posted summaries beside the review's own."""
    rows = tables.reconciliation.to_dict("records")
    figures = tuple(_figure(row) for row in rows if row["is_whole_year"])
    whole = sorted({figure.year for figure in figures})
    part = sorted({int(row["year"]) for row in rows} - set(whole))
    return Reconciliation(figures, tuple(whole), tuple(part))


def _figure(row: dict[object, object] | dict[str, object]) -> Figure:
    cells = {str(name): value for name, value in row.items()}
    year, name = int(str(cells["year"])), str(cells["figure"])
    posted, ours = float(str(cells["posted"])), float(str(cells["in_review"]))
    place = f"{year}/{name}"

    def number(kind: str, value: float) -> Number:
        key = f"{kind}/{place}"
        return numbers.hours(key, value) if name == "hours" else numbers.count(key, round(value))

    slack = HOURS_AGREE_WITHIN * posted if name == "hours" else 0.0
    return Figure(
        year=year,
        figure=name,
        posted=number("posted", posted),
        in_review=number("in_review", ours),
        gap=number("posted_gap", ours - posted),
        set_aside=numbers.count(f"posted_set_aside/{place}", int(str(cells["set_aside"])), "rows"),
        agrees=abs(ours - posted) <= slack,
    )
