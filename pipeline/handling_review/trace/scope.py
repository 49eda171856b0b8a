"""Where and when: the place in the middle of a key, as words and as conditions on the database."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from urllib.parse import unquote

from handling_review.evidence.quarters import previous
from handling_review.trace.output import Output
from handling_review.trace.selection import COUNT, RANGES, SERIES_SQL, Selection, one_of, quoted

COMPLETE = "quarter IN (SELECT quarter FROM out_quarters WHERE is_complete)"
QUARTER = r"(?:FY)?\d{4}-Q[1-4]"
YEAR = r"(?:FY)?\d{4}"
SERIES = "handling|non_handling|recordable|dart|days_away|first_aid"
SERIES_WORDS = {
    "handling": "recordable injuries from handling clients",
    "non_handling": "recordable injuries that did not come from handling",
    "recordable": "all recordable injuries",
    "dart": "injuries with days away, restricted work or transfer (DART)",
    "days_away": "injuries with days away from work",
    "first_aid": "first-aid cases",
}
PHASE_WORDS = {
    "before": "before training",
    "washout": "in the washout after training",
    "after": "after training",
    "never": "by people who were never trained",
    "unknown": "where training is not known",
}
STATUS_SQL = {
    "current": ("phase = 'after'", "NOT lapsed"),
    "lapsed": ("phase = 'after'", "lapsed"),
    "washout": ("phase = 'washout'",),
    "before": ("phase = 'before'",),
    "never": ("phase = 'never'",),
    "unknown": ("phase = 'unknown'",),
}
STATUS_WORDS = {**PHASE_WORDS, "current": "with current training", "lapsed": "after training had lapsed"}
TRAINING, WINDOW, START, GROUPS = "training", "complete quarters", "go-live", "groups"


@dataclass(frozen=True)
class Scope:
    """One place and time.

    Attributes:
        words: for a sentence, after a comma.
        where: conditions that hold for cases and hours alike; ``cases`` and ``hours`` for the one or the other only.
        unit, quarters: the parts of ``where`` that a row keeps even if it was not used; for the rows left out.
        undecided: whether cases of which nobody knows if handling was the cause are counted with handling.
        cases_table, hours_table: where the rows stand.
        rules: definitions that bear on it.
    """

    words: str
    where: tuple[str, ...] = ()
    cases: tuple[str, ...] = ()
    hours: tuple[str, ...] = ()
    unit: str = ""
    quarters: str = ""
    undecided: bool = False
    cases_table: str = "int_cases"
    hours_table: str = "int_hours_parts"
    rules: tuple[str, ...] = ()

    def of_cases(self, series: str) -> Selection:
        """The cases of one series, row by row."""
        what = SERIES_SQL[series]
        if self.undecided and series == "handling":
            what = "is_recordable AND coalesce(is_handling, TRUE)"
        return Selection(
            title=f"{SERIES_WORDS[series]}, {self.words}",
            file="incidents",
            table=self.cases_table,
            where=(*what.split(" AND "), *self.where, *self.cases),
            unit="cases",
        )

    def of_undecided(self) -> Selection:
        """Recordable cases of which nobody knows whether handling was the cause."""
        return Selection(
            title=f"recordable cases that cannot be called handling or not, {self.words}",
            file="incidents",
            table=self.cases_table,
            where=("is_recordable", "is_handling IS NULL", *self.where, *self.cases),
            unit="cases",
        )

    def of_hours(self) -> Selection:
        """The hours, by row."""
        return Selection(
            title=f"hours worked, {self.words}",
            file="hours",
            table=self.hours_table,
            where=(*self.where, *self.hours),
            amount="sum(part_e8) / 1e8",
            unit="hours",
            lines=RANGES,
            splits=True,
        )

    def of_completions(self) -> Selection:
        """The completions of the people whose hours these are."""
        inside = " AND ".join((*self.where, *self.hours)) or "TRUE"
        return Selection(
            title="qualifying completions of the people with these hours",
            file="training",
            table="stg_training",
            where=("fate = 'used'", f"employee_id IN (SELECT employee_id FROM {self.hours_table} WHERE {inside})"),
            unit="rows",
            lines=RANGES,
        )

    def also(self, words: str, *where: str) -> Scope:
        """A narrower scope."""
        return replace(self, words=f"{self.words}, {words}" if words else self.words, where=(*self.where, *where))


def unit_of(code: str) -> str:
    """A unit's code from its part of a key."""
    return unquote(code.removeprefix("unit:"))


class Places:
    """Reads the places of one review."""

    def __init__(self, output: Output) -> None:
        self._output = output
        self._read: dict[str, Scope | None] = {}
        self._spans = {
            str(q): (str(a), str(b))
            for q, a, b in output.rows("SELECT quarter, quarter_start, quarter_end FROM quarters")
        }
        self.complete = tuple(
            str(row[0])
            for row in output.rows("SELECT quarter FROM out_quarters WHERE is_complete ORDER BY quarter_start")
        )
        self._names = {str(code): str(name) for code, name in output.rows("SELECT unit, name FROM stg_units")}

    def name(self, unit: str) -> str:
        """A unit's name."""
        return self._names.get(unit, unit)

    def quarter_words(self, quarter: str) -> str:
        """A quarter with its days."""
        first, last = self._spans.get(quarter, ("", ""))
        return f"{quarter} ({first} to {last})" if first else quarter

    def whole(self) -> Scope:
        """The whole facility over the complete quarters."""
        return self._over("whole facility", COMPLETE, self._complete_words(), WINDOW)

    def unit(self, code: str) -> Scope:
        """One unit over the complete quarters."""
        unit = unit_of(code)
        return self._within(self._over(self.name(unit), COMPLETE, self._complete_words(), WINDOW), unit)

    def quarters(self, labels: tuple[str, ...], words: str = "") -> Scope:
        """The whole facility over some quarters."""
        if not words:
            words = f"quarter {self.quarter_words(labels[0])}" if len(labels) == 1 else f"{labels[0]} to {labels[-1]}"
        return self._over("whole facility", one_of("quarter", labels), words)

    def last_four(self) -> tuple[str, ...]:
        """The last four complete quarters."""
        return self.complete[-4:]

    def of(self, path: str) -> Scope | None:
        """The scope of a place such as ``facility/2025-Q3`` or ``unit:North/all-quarters``; ``None`` if unknown."""
        if path not in self._read:
            self._read[path] = self._of(path)
        return self._read[path]

    def _of(self, path: str) -> Scope | None:
        for pattern, make in self._readers():
            matched = re.fullmatch(pattern, path)
            if matched:
                return make(*matched.groups())
        return None

    def _readers(self) -> tuple[tuple[str, Callable[..., Scope | None]], ...]:
        phases, statuses = "|".join(PHASE_WORDS), "|".join(STATUS_SQL)
        return (
            (r"facility/all-quarters|facility", self.whole),
            (rf"facility/({QUARTER})", lambda q: self.quarters((q,))),
            (rf"facility/four-quarters-to-({QUARTER})", self._four_to),
            (r"facility/last-complete-quarters", lambda: self.quarters(self.last_four())),
            (rf"facility/({YEAR})", self._year),
            (rf"facility/({phases})", self._phase),
            (r"facility/incomplete-quarters", self._incomplete),
            (r"facility/latest-quarter/after", self._latest_trained),
            (rf"facility/({QUARTER})/({statuses})", self._status),
            (r"facility/(unclassified_\w+)-(before|after)", self._undecided),
            (r"facility/since_training/(\w[\w-]*)", self._since_training),
            (rf"(unit:[^/]+)/({QUARTER})", self._unit_quarter),
            (rf"(unit:[^/]+)/({QUARTER})/({statuses})", self._unit_status),
            (r"(unit:[^/]+)/four-quarters", self._unit_four),
            (r"(unit:[^/]+)/all-quarters", self.unit),
            (r"group:(\w+):([^/]+)", self._group),
        )

    def _over(self, who: str, condition: str, words: str, *rules: str) -> Scope:
        return Scope(f"{who}, {words}", where=(condition,), quarters=condition, rules=rules)

    def _within(self, scope: Scope, unit: str) -> Scope:
        condition = one_of("unit", [unit])
        return replace(scope, where=(*scope.where, condition), unit=condition)

    def _complete_words(self) -> str:
        if not self.complete:
            return "no complete quarter"
        return f"all {len(self.complete)} complete quarters ({self.complete[0]} to {self.complete[-1]})"

    def _four_to(self, quarter: str) -> Scope:
        labels = tuple(previous(quarter, steps) for steps in (3, 2, 1, 0))
        return self.quarters(labels, f"four quarters {labels[0]} to {quarter}")

    def _year(self, year: str) -> Scope:
        own = tuple(quarter for quarter in self.complete if quarter.startswith(f"{year}-Q"))
        return self.quarters(own, f"the complete quarters of {year} ({', '.join(own)})")

    def _phase(self, phase: str) -> Scope:
        return replace(self.whole().also(PHASE_WORDS[phase], f"phase = {quoted(phase)}"), rules=(WINDOW, TRAINING))

    def _incomplete(self) -> Scope:
        condition = COMPLETE.replace("quarter IN", "quarter NOT IN")
        return self._over("whole facility", condition, "the quarters that are not complete", WINDOW)

    def _latest_trained(self) -> Scope:
        return replace(self.quarters(self.complete[-1:]).also("after training", "phase = 'after'"), rules=(TRAINING,))

    def _status(self, quarter: str, status: str) -> Scope:
        return replace(self.quarters((quarter,)).also(STATUS_WORDS[status], *STATUS_SQL[status]), rules=(TRAINING,))

    def _undecided(self, name: str, phase: str) -> Scope:
        counted = name == "unclassified_all" or name == f"unclassified_{phase}_only"
        words = "with the undecided cases counted as handling" if counted else "without the undecided cases"
        return replace(self._phase(phase).also(words), undecided=counted)

    def _since_training(self, name: str) -> Scope | None:
        from handling_review.evidence.time_bands import BANDS, LAPSED, UNTRAINED

        label = name.replace("_", " ")
        whole = replace(self.whole(), rules=(WINDOW, TRAINING))
        if label == LAPSED:
            return whole.also("after training had lapsed", "lapsed")
        if label == UNTRAINED:
            return whole.also("before training", "phase = 'before'")
        days = dict(BANDS).get(label)
        if days is None:
            return None
        words = f"{label} after the first qualifying completion, training not lapsed"
        return whole.also(words, one_of("band", days), "NOT lapsed")

    def _unit_quarter(self, code: str, quarter: str) -> Scope:
        unit = unit_of(code)
        scope = self.quarters((quarter,))
        words = f"{self.name(unit)}, quarter {self.quarter_words(quarter)}"
        return self._within(replace(scope, words=words), unit)

    def _unit_status(self, code: str, quarter: str, status: str) -> Scope:
        scope = self._unit_quarter(code, quarter).also(STATUS_WORDS[status], *STATUS_SQL[status])
        return replace(scope, rules=(TRAINING,))

    def _unit_four(self, code: str) -> Scope:
        unit, labels = unit_of(code), self.last_four()
        scope = self.quarters(labels)
        words = f"{self.name(unit)}, the last four complete quarters ({', '.join(labels)})"
        return self._within(replace(scope, words=words, rules=(WINDOW,)), unit)

    def _group(self, kind: str, part: str) -> Scope:
        """One group of cases. What small groups stand together in "all others" is not taken apart."""
        from handling_review.page.labels import GROUP_KIND, group

        label = unquote(part)
        whole = self.whole()
        condition = one_of(kind, [label])
        words = f"{GROUP_KIND.get(kind, kind)}: {group(kind, label)}"
        if label == "all others":
            prefix = f"cases/group:{kind}:"
            shown = sorted(
                {
                    unquote(key.removeprefix(prefix).split("/")[0])
                    for key in self._output.numbers
                    if key.startswith(prefix)
                }
                - {label}
            )
            condition = "TRUE" if not shown else f"NOT ({one_of(kind, shown)})"
            words += " (small groups, shown together so that nobody can be picked out)"
        return replace(
            whole,
            words=f"{whole.words}, {words}",
            where=(*whole.where, condition),
            cases_table="int_case_groups",
            hours_table="int_staff_parts",
            rules=(WINDOW, GROUPS),
        )


def people(title: str, where: tuple[str, ...], *, table: str = "int_training_due", amount: str = "") -> Selection:
    """People, counted and never listed."""
    note = "The people are counted, never listed."
    if table == "int_training_due":
        note += " Whoever has the exports gets the list from the worklist command."
    return Selection(
        title=title, file="training", table=table, where=where, amount=amount, unit="people", lines=COUNT, note=note
    )
