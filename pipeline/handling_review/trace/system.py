"""A published number of a combined review back to the facilities' files: formula, method, and each facility's part.

A combined review holds no row, so the trace ends at a facility's cases and hours and says where it goes on: in that
facility's own output folder.
"""

from __future__ import annotations

import csv
import re
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from urllib.parse import unquote

from handling_review.problems import OutputProblem, ReviewProblem
from handling_review.trace.formula import Formula, Input, exact
from handling_review.trace.methods import METHODS, Method
from handling_review.trace.output import Output, Published, plain
from handling_review.trace.scope import SERIES_WORDS

WIDTH = 110
MOST_ROWS = 40  # facilities named one by one; all stand in tables/phases.csv
_BOTH = "of the facilities with hours before and after training"
_POOLED = {
    "pooled_common": "the one ratio that would hold in all facilities",
    "pooled_average": "the middle of the facilities' true ratios",
    "pooled_further": "the true ratio of one more facility",
    "pooled_spread": "standard deviation of the logarithm of the true ratios",
    "p_one_ratio": "p-value of one common ratio",
}
_METHODS = {
    "pooled_common": Method(
        "Conditional maximum likelihood; limits from the sum of the binomial counts of the facilities.",
        "Breslow & Day 1987, vol. II, ch. 3; beyond 3,000 cases the refined normal approximation, Volkova 1996.",
    ),
    "pooled": Method(
        "Of the cases of a facility those after training are binomial, log ratios are normal between facilities; "
        "maximum likelihood. Ranges weigh each spread by its likelihood and half a normal curve of scale 1.",
        "Stijnen, Hamza & Ozdemir 2010, Stat Med 29:3046-3067; Röver and others 2021, Res Synth Methods 12:448-474.",
    ),
    "p_one_ratio": Method(
        "Likelihood ratio against no spread, half of chi-squared with one degree of freedom.",
        "Stijnen, Hamza & Ozdemir 2010, Stat Med 29:3046-3067.",
    ),
}
_LIMITS = {"rate_lower": "exact", "rate_upper": "exact", "rate_limit": "one_sided", "ratio": "mid_p",
           "difference": "mover", "cases_avoided": "mover"}  # fmt: skip


@dataclass(frozen=True)
class _Part:
    """One facility's cases and hours in one phase, of one series."""

    facility: str
    phase: str
    series: str
    cases: int
    hours: float


@dataclass(frozen=True)
class _Told:
    """What a number is, how it is worked out, and the facilities' parts behind it."""

    words: str
    formula: Formula | None = None
    method: Method | None = None
    parts: tuple[_Part, ...] = ()
    note: str = ""


class _Review:
    """The tables of a combined review."""

    def __init__(self, output: Output) -> None:
        self.output = output
        self.numbers = output.numbers
        inputs = output.manifest["inputs"]
        self.files = {str(one["facility"]): one for one in inputs}

    @cached_property
    def parts(self) -> tuple[_Part, ...]:
        """All rows of tables/phases.csv."""
        path = self.output.folder / "tables" / "phases.csv"
        try:
            with path.open(encoding="utf-8", newline="") as stream:
                return tuple(
                    _Part(
                        plain(row["facility"]),
                        row["phase"],
                        row["series"],
                        int(row["cases"]),
                        float(row["hours_worked"]),
                    )
                    for row in csv.DictReader(stream)
                )
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise OutputProblem(f"{path}: cannot be read ({type(error).__name__}). Combine again.") from None

    def of(self, series: str, phases: Sequence[str], facility: str = "") -> tuple[_Part, ...]:
        """Parts of one series in some phases, of one facility or all."""
        return tuple(p for p in self.parts if p.series == series and p.phase in phases and facility in ("", p.facility))

    def both(self, series: str, phases: Sequence[str]) -> tuple[_Part, ...]:
        """Parts of the facilities that have hours before and after."""
        worked = {(p.facility, p.phase) for p in self.of(series, ("before", "after")) if p.hours > 0}
        return tuple(p for p in self.of(series, phases) if {(p.facility, "before"), (p.facility, "after")} <= worked)

    def input(self, name: str, key: str) -> Input:
        """A published number as an input. Raises ``ReviewProblem`` where it is not published."""
        number = self.numbers.get(key)
        if number is None:
            raise ReviewProblem(f"{key}: this number is not published, but another is worked out from it.")
        return Input(name, float("nan") if number.value is None else number.value, number.unit, key=key)


def one(output: Output, key: str) -> str:
    """Everything about one number of a combined review, as text."""
    review = _Review(output)
    return "\n".join(_lines(review, output.numbers[key], told(review, key)))


def told(review: _Review, key: str) -> _Told:
    """The explanation of a key. Raises ``ReviewProblem`` for a key that no pattern describes."""
    for pattern, explain in _FAMILIES:
        match = re.fullmatch(pattern, key)
        if match:
            return explain(review, match)
    raise ReviewProblem(f"{key}: no family of numbers describes this key.")


def _summed(review: _Review, m: re.Match[str]) -> _Told:
    kind, phase, series = m["kind"], m["phase"], m["series"]
    return _Told(
        f"{kind} {phase} training, {SERIES_WORDS[series]}, {_BOTH}, added up", parts=review.both(series, (phase,))
    )


def _counted(review: _Review, m: re.Match[str]) -> _Told:
    series = m["series"]
    what = "facilities whose cases say something about the ratio: hours on both sides and a case on either"
    if m["kind"] == "facilities_silent":
        what = "all other facilities: no hours on one side, or no case"
    return _Told(f"{what}, {SERIES_WORDS[series]}", parts=review.of(series, ("before", "after")))


def _pooled(review: _Review, m: re.Match[str]) -> _Told:
    kind, series = m["kind"], m["series"]
    end = {"lower": ", lower limit", "upper": ", upper limit"}.get(m["end"] or "", "")
    method = _METHODS.get(kind, _METHODS["pooled"])
    return _Told(
        f"{_POOLED[kind]}{end}, {SERIES_WORDS[series]}", method=method, parts=review.both(series, ("before", "after"))
    )


def _place(m: re.Match[str]) -> tuple[str, tuple[str, ...]]:
    facility = unquote(m["facility"]) if m["facility"] else ""
    phases = ("before", "after", "neither") if m["phase"] == "whole-period" else (m["phase"],)
    return facility, phases


def _measured(review: _Review, m: re.Match[str]) -> _Told:
    kind, series = m["kind"], m["series"]
    facility, phases = _place(m)
    where = f"{facility or 'all facilities'}, {m['phase'].replace('-', ' ')}, {SERIES_WORDS[series]}"
    parts = review.of(series, phases, facility)
    if kind in ("cases", "hours"):
        return _Told(f"{kind}, {where}", parts=parts)
    end = m.string.split("/", 1)[1]
    inputs = (review.input("cases", f"cases/{end}"), review.input("hours", f"hours/{end}"))
    if kind == "rate":
        return _Told(f"rate, {where}", Formula("cases * 200000 / hours", inputs), parts=parts)
    return _Told(f"{kind.replace('_', ' ')}, {where}", Formula("", inputs), METHODS[_LIMITS[kind]], parts)


def _compared(review: _Review, m: re.Match[str]) -> _Told:
    kind, series, place = m["kind"], m["series"], f"facility:{m['facility']}"
    facility = unquote(m["facility"])
    now, then = (f"{place}/{phase}/{series}" for phase in ("after", "before"))
    inputs = (
        review.input("cases_after", f"cases/{now}"), review.input("hours_after", f"hours/{now}"),
        review.input("cases_before", f"cases/{then}"), review.input("hours_before", f"hours/{then}"),
    )  # fmt: skip
    expression = {
        "ratio": "cases_after / hours_after / (cases_before / hours_before)",
        "difference": "200000 * (cases_after / hours_after - cases_before / hours_before)",
        "cases_avoided": "cases_before / hours_before * hours_after - cases_after",
    }[kind]
    words = f"{kind.replace('_', ' ')}, after training to before, {facility}, {SERIES_WORDS[series]}"
    parts = review.of(series, ("after", "before"), facility)
    if m["end"] or (kind == "ratio" and not inputs[2].value):
        return _Told(f"{words}, {m['end'] or 'value'}", Formula("", inputs), METHODS[_LIMITS[kind]], parts)
    return _Told(words, Formula(expression, inputs), parts=parts)


def _funnel(review: _Review, m: re.Match[str]) -> _Told:
    facility = unquote(m["facility"])
    phases = ("before", "after", "neither")
    words = f"{m['end']} limit of the funnel at {m['level']}, {facility}, {SERIES_WORDS[m['series']]}"
    return _Told(words, method=METHODS["funnel"], parts=review.of(m["series"], phases, facility))


def _dispersion(review: _Review, m: re.Match[str]) -> _Told:
    return _Told(
        "spread of the facilities' rates, in units of what chance gives",
        method=METHODS["dispersion"],
        parts=review.of(m["series"], ("before", "after", "neither")),
    )


def _said(words: str, note: str = "") -> Callable[[_Review, re.Match[str]], _Told]:
    return lambda _review, _match: _Told(words, note=note)


_SERIES = r"(?P<series>[a-z_]+)"
_FACILITY = r"(?:facility:(?P<facility>[^/]+)|system)"
_FAMILIES: tuple[tuple[str, Callable[[_Review, re.Match[str]], _Told]], ...] = (
    (rf"(?P<kind>cases|hours)_(?P<phase>after|before)/system/{_SERIES}", _summed),
    (rf"(?P<kind>facilities|facilities_silent)/system/{_SERIES}", _counted),
    (
        rf"(?P<kind>pooled_common|pooled_average|pooled_further|pooled_spread|p_one_ratio)(?:_(?P<end>lower|upper))?"
        rf"/system/{_SERIES}",
        _pooled,
    ),
    (
        rf"(?P<kind>cases|hours|rate|rate_lower|rate_upper|rate_limit)/{_FACILITY}/"
        rf"(?P<phase>after|before|whole-period)/{_SERIES}",
        _measured,
    ),
    (
        rf"(?P<kind>ratio|difference|cases_avoided)(?:_(?P<end>lower|upper))?/facility:(?P<facility>[^/]+)/before_after/"
        rf"{_SERIES}",
        _compared,
    ),
    (
        rf"funnel_(?P<end>lower|upper)_(?P<level>95|998)/facility:(?P<facility>[^/]+)/all-quarters/{_SERIES}",
        _funnel,
    ),
    (rf"funnel_spread/all-quarters/{_SERIES}", _dispersion),
    (r"facilities/system", _said("files that were combined, one a facility")),
    (r"facilities_with_rate/system", _said("facilities with cases enough for a rate over the whole period")),
    (
        r"facilities/(?:lower|higher|cannot_tell|few_cases|no_data)",
        _said("facilities whose own comparison has this answer", "They are counted in tables/facilities.csv, verdict."),
    ),
    (r"setting/\w+", _said("a setting that the facilities share, or the tool's default", "No formula: it is stated.")),
    (r"rule/.+", _said("a fixed rule of this program", "No formula: it is stated.")),
)


def _lines(review: _Review, number: Published, found: _Told) -> Iterator[str]:
    words = found.words[:1].upper() + found.words[1:]
    yield number.key
    yield from textwrap.wrap(f"{words}.", WIDTH)
    yield ""
    yield f"  shown as   {number.shown}"
    yield f"  exactly    {'not defined' if number.value is None else exact(number.value)}"
    yield f"  unit       {number.unit}"
    yield f"  review     {review.output.manifest['system']}, {len(review.files)} facilities"
    yield ""
    yield "HOW IT IS WORKED OUT"
    yield from _how(found)
    if found.parts:
        yield ""
        yield from _where(review, found.parts)


def _how(found: _Told) -> Iterator[str]:
    formula = found.formula
    if formula is not None and formula.is_given:
        yield f"  {formula.named()}"
        yield f"  = {formula.filled()}"
        yield f"  = {exact(formula.result())}"
    elif found.method is not None:
        yield "  There is no one-line formula: this number comes out of the method below."
    elif found.parts:
        yield "  The figures of the facilities below are added up or counted."
    for text in (
        f"Method: {found.method.words}" if found.method else "",
        f"Source: {found.method.source}" if found.method else "",
        found.note,
    ):
        yield from textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")
    if formula is not None:
        yield "  with"
        yield from (f"    {one.name} = {exact(one.value)} {one.unit}  (trace {one.key})" for one in formula.inputs)


def _where(review: _Review, parts: Sequence[_Part]) -> Iterator[str]:
    yield "WHAT EACH FACILITY HANDED ON"
    for part in parts[:MOST_ROWS]:
        yield (
            f"  {part.facility}, {part.phase}, {SERIES_WORDS[part.series]}: {part.cases:,} cases in "
            f"{part.hours:,.4f} hours"
        )
    if len(parts) > MOST_ROWS:
        yield f"  and {len(parts) - MOST_ROWS:,} more lines: see tables/phases.csv"
    names = list(dict.fromkeys(part.facility for part in parts))
    for name in names[:MOST_ROWS]:
        one = review.files.get(name, {})
        yield f"  File of {name}: run {one.get('run_id', 'not known')}, SHA-256 {one.get('sha256', 'not known')}"
    yield "  The rows behind a facility's figures stay at that facility. In its own output folder:"
    series = parts[0].series
    yield f"    handling-review trace FOLDER cases/facility/after/{series}"
