"""A reader who wants the hidden counts of the wide copy: reads the finished HTML, builds equations, and solves them.

It shares nothing with the package: it parses the file, keeps every text, attribute and script, takes every count, rate,
range and limit that stands anywhere near a row's hours, turns rates and exact limits back into counts, and asks a
solver for the least and the most that each hidden count can be. It also knows the rule: a hidden count is not nought.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

import numpy as np
from scipy import stats
from scipy.optimize import Bounds, LinearConstraint, milp

KINDS = {
    "Handling injuries": "handling",
    "All recordable injuries": "recordable",
    "DART injuries": "dart",
    "Injuries with days away": "days_away",
}
NUMBER = r"\d[\d,]*(?:\.\d+)?"
Limits = tuple[float, float]


@dataclass
class Row:
    label: str
    cells: list[str]


@dataclass
class Page(HTMLParser):
    """Everything in a file that can be read: tables, running text, attributes, scripts."""

    tables: dict[str, list[Row]] = field(default_factory=dict)
    texts: list[str] = field(default_factory=list)
    attributes: list[tuple[str, str, str]] = field(default_factory=list)
    scripts: list[str] = field(default_factory=list)
    _stack: list[str] = field(default_factory=list)
    _caption: str = ""
    _cells: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in ("meta", "line", "path", "circle", "br", "input", "link"):
            self._stack.append(tag)
        if tag == "caption":
            self._caption = ""
        if tag == "tr":
            self._cells = []
        if tag in ("th", "td"):
            self._cells.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if self._stack and self._stack[-1] == tag:
            self._stack.pop()
        if tag == "tr" and "tbody" in self._stack:
            self.tables.setdefault(self._caption.strip(), []).append(Row(self._cells[0].strip(), self._cells[1:]))

    def handle_data(self, data: str) -> None:
        if "script" in self._stack:
            self.scripts.append(data)
        elif "style" not in self._stack:
            self.texts.append(data)
        if "caption" in self._stack:
            self._caption += data
        elif self._stack and self._stack[-1] in ("th", "td") and self._cells:
            self._cells[-1] += data


def read(html: str) -> Page:
    page = Page()
    page.feed(html)
    return page


def number(text: str) -> float | None:
    found = re.fullmatch(NUMBER, re.sub(r"[\u00a0 ]?[†§‡*]", "", text).strip())
    return float(found[0].replace(",", "")) if found else None


def counts_that_print(hours: float, rate: str, spread: str) -> set[int]:
    """Counts whose rate, exact limits or upper limit would be printed as just these texts.

    ``hours`` are printed in whole hours, so the true ones lie within half an hour of them.
    """
    found = set(range(400))
    per = 200_000 / hours if hours else 0.0
    n = np.arange(400)

    def printing(values: np.ndarray, text: str) -> set[int]:
        slack = 0.05 + 1e-9 + values * 0.5 / max(hours, 1.0)
        return {int(k) for k in n if abs(values[k] - float(text.replace(",", ""))) <= slack[k]}

    shown = number(rate)
    if shown is not None:
        found &= printing(n * per, f"{shown:.1f}")
    both = re.fullmatch(rf"({NUMBER}) to ({NUMBER})", spread.strip())
    if both:
        low = np.where(n > 0, stats.chi2.ppf(0.025, 2 * np.maximum(n, 1)) / 2, 0.0) * per
        high = stats.chi2.ppf(0.975, 2 * n + 2) / 2 * per
        found &= printing(low, both[1]) & printing(high, both[2])
    most = re.fullmatch(rf"at most ({NUMBER})", spread.strip())
    if most:
        found &= printing(stats.chi2.ppf(0.95, 2 * n + 2) / 2 * per, most[1])
    return found


class Attack:
    """Variables: the facility's series by part of the period, and the units' totals of the main series."""

    def __init__(self, html: str) -> None:
        self.page = read(html)
        self.text = re.sub(r"\s+", " ", " ".join(self.page.texts))
        self.names: dict[str, int] = {}
        self.rules: list[tuple[dict[str, float], float, float]] = []
        self.rows: dict[str, tuple[str, float]] = {}  # name of a count to what is printed for it, and its hours
        series = {
            k: rows for caption, rows in self.page.tables.items() for k in KINDS if caption == f"{k}, per 200,000 hours"
        }
        self.years = [row.label[:4] for row in next(iter(series.values()), []) if row.label[:2] == "20"]
        four = next((row.label for row in next(iter(series.values()), []) if row.label.startswith("Four")), "")
        self.parts = {year: [f"{year}:early", f"{year}:late"] for year in self.years}
        self.recent = self._recent(four)
        for kind, rows in series.items():
            self._series(KINDS[kind], rows)
        self._order()
        self._units(series)
        self._sides()
        self._everywhere()

    def _recent(self, label: str) -> list[str]:
        """The parts that the last four quarters hold: some of the year before, all of the latest year."""
        if not label or not self.years:
            return []
        latest = label.removeprefix("Four quarters to ")[:4]
        before = str(int(latest) - 1)
        return [*self.parts[latest], *([self.parts[before][1]] if before in self.parts else [])]

    def variable(self, name: str) -> str:
        self.names.setdefault(name, len(self.names))
        return name

    def window(self, series: str, label: str) -> dict[str, float]:
        if label.startswith("Four"):
            parts = self.recent
        elif label == "Whole period":
            parts = [part for year in self.years for part in self.parts[year]]
        else:
            parts = self.parts[label[:4]]
        return {self.variable(f"{series}/{part}"): 1.0 for part in parts}

    def _series(self, series: str, rows: list[Row]) -> None:
        for row in rows:
            self._row(f"{series}/{row.label}", self.window(series, row.label), row)

    def _row(self, name: str, terms: dict[str, float], row: Row) -> None:
        cases, hours, rate, spread = row.cells[:4]
        count, worked = number(cases), number(hours) or 0.0
        possible = counts_that_print(worked, rate, spread)
        if count is not None:
            assert count > 399 or int(count) in possible, "a count and its rate disagree"
            possible = {int(count)}
        elif "not shown" in cases:
            possible -= {0}  # the rule says so on the page
        self.rows[name] = (cases.strip(), worked)
        top = max(possible) if len(possible) < 399 else np.inf
        self.rules.append((terms, float(min(possible)), float(top)))

    def _order(self) -> None:
        """What lies inside what, in every part of the period."""
        for year in self.years:
            for part in self.parts[year]:
                for wide, inner in (("recordable", "dart"), ("dart", "days_away"), ("recordable", "handling")):
                    wide_name, inner_name = self.variable(f"{wide}/{part}"), self.variable(f"{inner}/{part}")
                    self.rules.append(({wide_name: 1.0, inner_name: -1.0}, 0.0, np.inf))

    def _units(self, series: dict[str, list[Row]]) -> None:
        self.main = ""
        for caption, rows in self.page.tables.items():
            found = re.fullmatch(r"(.*) by unit, whole period, per 200,000 hours", caption)
            if not found:
                continue
            self.main = KINDS[found[1]]
            whole = self.window(self.main, "Whole period")
            units = {}
            for row in rows[:-1]:
                terms = {self.variable(f"unit/{row.label}"): 1.0}
                self._row(f"unit/{row.label}", terms, row)
                units |= terms
            self._row("unit total", whole, rows[-1])
            self.rules.append((units | dict.fromkeys(whole, -1.0), 0.0, 0.0))

    def _sides(self) -> None:
        """The two sides of the leading comparison, where their counts stand in the text."""
        self.sides: dict[str, float] = {}
        found = re.search(
            rf": ({NUMBER}) cases? in ({NUMBER}) hours .{{3,60}}?, against ({NUMBER}) cases? in", self.text
        )
        if found and self.main:
            self.sides = {"now": float(found[1].replace(",", "")), "then": float(found[3].replace(",", ""))}
            rest = self.variable("rest")
            whole = self.window(self.main, "Whole period")
            self.rules.append(({**whole, rest: -1.0}, sum(self.sides.values()), sum(self.sides.values())))

    def _everywhere(self) -> None:
        """Counts beside hours anywhere in text, attributes or scripts: the hours say which row they belong to."""
        by_hours: dict[float, list[str]] = {}
        for name, (_, worked) in self.rows.items():
            by_hours.setdefault(worked, []).append(name)
        beyond = [value for _, name, value in self.page.attributes if name not in ("d", "style", "content", "viewbox")]
        for text in (self.text, *beyond, *self.page.scripts):
            for count, worked in re.findall(rf"({NUMBER}) cases? in ({NUMBER}) hours", text):
                names = by_hours.get(float(worked.replace(",", "")), [])
                for name in names:
                    if name.startswith(("unit", self.main)) and "not shown" in self.rows[name][0]:
                        value = float(count.replace(",", ""))
                        self.rules.append((self.terms(name), value, value))

    def terms(self, name: str) -> dict[str, float]:
        if name == "unit total":
            return self.window(self.main, "Whole period")
        if name.startswith("unit/"):
            return {name: 1.0}
        series, label = name.split("/", 1)
        return self.window(series, label)

    def hidden_data(self) -> list[str]:
        """Machine-readable values that a reader does not see: none may be there."""
        loose = [f"{tag} {name}={value}" for tag, name, value in self.page.attributes if name in ("value", "title")]
        loose += [f"{tag} {name}={value}" for tag, name, value in self.page.attributes if name.startswith("data-")]
        return loose + [text for text in self.page.scripts if text.strip()]

    def can_be(self, terms: dict[str, float], *, presolve: bool = True) -> Limits:
        """The least and the most that a sum of variables can be; each end is that of a table that fits the page.

        The solver's presolve calls some solvable sets of rules infeasible, and ends others short of the true end.
        ``presolve`` false asks the solver without it, which takes longer.
        """
        return self._end(terms, 1.0, presolve), self._end(terms, -1.0, presolve)

    def _end(self, terms: dict[str, float], sign: float, presolve: bool) -> float:
        size = len(self.names)
        rows = np.zeros((len(self.rules), size))
        for at, (weights, _, _) in enumerate(self.rules):
            for name, weight in weights.items():
                rows[at, self.names[name]] = weight
        aim = np.zeros(size)
        for name, weight in terms.items():
            aim[self.names[name]] = weight
        least, most = np.array([r[1] for r in self.rules]), np.array([r[2] for r in self.rules])
        for is_simplified in (True, False) if presolve else (False,):
            # a cap far above any count here keeps the solver from running off where nothing bounds a hidden count
            found = milp(
                sign * aim,
                integrality=np.ones(size, dtype=np.int64),
                bounds=Bounds(0, 5000),
                constraints=[LinearConstraint(rows, least, most)],
                options={"presolve": is_simplified},
            )
            if found.x is not None:
                break
        assert found.x is not None, f"the page contradicts itself: {found.message}"
        table = np.round(found.x)
        sums = rows @ table
        fits = [(sums >= least).all(), (sums <= most).all(), (table >= 0).all()]
        assert all(fits), "no table of this page"
        return float(aim @ table)
