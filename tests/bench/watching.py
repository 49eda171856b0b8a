"""How do the control charts do when the truth is known? ``python tests/bench/watching.py``

Series of cases (``watching_series.py``) in which nothing changes, or in which the rate doubles or halves, are shown to
the charts of the review. Writes WATCHING.md beside this file and, for the review to print from,
reports/chart_study.csv. With ``--series`` it prints its tables and writes nothing.
"""

from __future__ import annotations

import argparse
import csv
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import astuple
from pathlib import Path

from watching_series import (
    ANY,
    ESTIMATED,
    EXPECTED,
    GAPS,
    KNOWN,
    MONTHLY,
    OUTSIDE,
    QUARTERLY,
    QUIET_MONTHS,
    RARE,
    RUN,
    SERIES,
    TREND,
    UNIT_EXPECTED,
    UNITS,
    WARNING,
    WITHIN,
    Rows,
    rows_of,
    settings,
    simulated,
    tuning,
)

HERE = Path(__file__).parent
SHIPPED = HERE.parents[1] / "reports" / "chart_study.csv"
TABLE = HERE / "WATCHING.md"

INTRO = """# The control charts held against a known truth

Written by `python tests/bench/watching.py` (about half a minute on one core); the same figures, and more, are shipped
as `reports/chart_study.csv`.

**What was simulated.** 2,000 series of cases a setting, drawn by chance from a rate that stays as it is, doubles or
halves with the first monitored quarter, at equal hours. The charts of the review were asked about each: rates by
quarter with exact limits, the early warning by month, and the days between cases. The centre line comes from the drawn
baseline, as in the review, unless a table says that it is known.

**How it was counted.**

- A signal counts if it takes in a monitored quarter: 8 of them after 8 baseline quarters, 12 after 4; 16 after a
  change. With nothing changing every signal is false. After a change only one that tells of it counts (more cases, or
  fewer), from the quarter on with which it is complete: a run of eight is known with its eighth quarter.
- A share over the monitored time is turned into one a year by 1 - (1 - share) ^ (1 / years). Chance moves a share of
  2,000 by up to 2.2 percentage points either way (95 % of the time).
- “Once in N quarters” is all monitored quarters over all signals that begin in them. A running sum that hovers about
  its threshold begins more than once; for the early warning the run lengths further down say more.
- The early warning looks for a doubling and is asked for 120 months to a false warning. Its sum runs from the first
  baseline month on and is not set back. It says nothing of a fall, nor anything after a baseline without a case.
- Days between cases are whole days, as dates give them. A wait still open is a signal once it passes the upper limit;
  a wait is too short only if a day more would still be.
- The review draws no chart of quarters with fewer than two cases a quarter, or fewer than five in the baseline. The
  rows for 0.5 and 1 say what such a chart would do.
"""


def study(series: int = SERIES) -> Rows:
    """All rows, sorted."""
    rows: Rows = []
    for setting in sorted(settings(), key=lambda s: astuple(s)[:6]):
        rows += rows_of(setting, simulated(setting, series))
        print(setting, file=sys.stderr)
    return rows


class Shipped:
    """The rows of the study, to be asked for a figure as it is printed."""

    def __init__(self, rows: Rows) -> None:
        keys = ("chart", "truth", "centre", "baseline_periods", "expected_per_quarter", "units", "rule")
        self._rows = {tuple(row[key] for key in keys): row for row in rows}

    def _cell(self, column: str, wanted: tuple[object, ...]) -> str:
        return self._rows[tuple(f"{value:g}" if isinstance(value, float) else str(value) for value in wanted)][column]

    def share(self, column: str, *wanted: object) -> str:
        return f"{100 * float(self._cell(column, wanted)):.1f} %"

    def a_year(self, *wanted: object) -> str:
        return self.share("share_signalled_per_year", *wanted)

    def within(self, quarters: int, *wanted: object) -> str:
        return self.share(f"found_within_{quarters}", *wanted)

    def once_in(self, *wanted: object) -> str:
        found = self._cell("quarters_per_signal", wanted)
        return "never seen" if not found else "over 1,000" if float(found) > 1000 else f"{float(found):.0f}"

    def delay(self, *wanted: object) -> str:
        found = self._cell("median_delay_quarters", wanted)
        return f"{float(found):.1f}" if found else "not within 16"

    def months(self, *wanted: object) -> str:
        return f"{3 * float(self._cell('quarters_per_signal', wanted)):.1f}"


def markdown(rows: Rows) -> str:
    """What was simulated, the tables, and what to take from them."""
    found = Shipped(rows)
    parts = [INTRO, _quiet(found), _changes(found), _gaps(found), _run_lengths(found), _units(found), _lessons(found)]
    return "\n".join(parts)


def _table(title: str, heads: str, lines: Sequence[tuple[str, ...]]) -> str:
    drawn = ["| " + " | ".join(line) + " |" for line in lines]
    return "\n".join([f"## {title}", "", f"| {heads} |", "|---" * len(lines[0]) + "|", *drawn, ""])


def _quiet(found: Shipped) -> str:
    """False signals a year, and once in how many quarters."""
    tables = []
    for title, figure in (
        ("Nothing changes: charts with a false signal in a year", found.a_year),
        ("Nothing changes: a false signal about once in so many quarters", found.once_in),
    ):
        lines = [
            (
                f"{e:g}",
                *(figure(QUARTERLY, "steady", ESTIMATED, 8, e, 1, rule) for rule in (OUTSIDE, RUN, TREND, ANY)),
                figure(QUARTERLY, "steady", KNOWN, 8, e, 1, ANY),
                figure(QUARTERLY, "steady", ESTIMATED, 4, e, 1, ANY),
                *(figure(MONTHLY, "steady", centre, 24, e, 1, WARNING) for centre in (ESTIMATED, KNOWN)),
            )
            for e in EXPECTED
        ]
        heads = (
            "cases expected a quarter | outside the limits | 8 on one side | 6 rising or falling | any of the three "
        )
        heads += "| any, centre known | any, 4 baseline quarters | early warning | early warning, usual rate known"
        tables.append(_table(title, heads, lines))
    return "\n".join(tables)


def _changes(found: Shipped) -> str:
    """Shares found and delays after a doubling and after a halving; eight baseline quarters."""
    tables = []
    for truth, title in (("doubled", "The rate doubles"), ("halved", "The rate halves")):
        heads = (
            "cases expected a quarter before | any: within 2 quarters | within 4 | within 8 | middle delay, quarters "
        )
        heads += "| outside: within 4 | 8 on one side: within 8 | 6 rising or falling: within 8"
        if truth == "doubled":
            heads += " | early warning: within 2 | within 4 | within 8 | middle delay, quarters"
        lines = []
        for e in EXPECTED:
            chart = (QUARTERLY, truth, ESTIMATED, 8, e, 1)
            line = [f"{e:g}", *(found.within(n, *chart, ANY) for n in WITHIN), found.delay(*chart, ANY)]
            line += [found.within(n, *chart, rule) for n, rule in ((4, OUTSIDE), (8, RUN), (8, TREND))]
            if truth == "doubled":
                early = (MONTHLY, truth, ESTIMATED, 24, e, 1, WARNING)
                line += [*(found.within(n, *early) for n in WITHIN), found.delay(*early)]
            lines.append(tuple(line))
        tables.append(_table(title, heads, lines))
    return "\n".join(tables)


def _gaps(found: Shipped) -> str:
    heads = "limits | baseline waits | cases expected a quarter | false signal in a year | once in so many quarters | "
    heads += "doubling: within 4 quarters | within 8 | middle delay | halving: within 4 | within 8 | middle delay"
    lines = []
    for chart, kind in GAPS.items():
        for b, e in [(b, e) for b in (8, 16) for e in RARE]:
            line = [kind, str(b), f"{e:g}"]
            line += [figure(chart, "steady", ESTIMATED, b, e, 1, ANY) for figure in (found.a_year, found.once_in)]
            for truth in ("doubled", "halved"):
                asked = (chart, truth, ESTIMATED, b, e, 1, ANY)
                line += [found.within(4, *asked), found.within(8, *asked), found.delay(*asked)]
            lines.append(tuple(line))
    return _table("Days between cases, any of the three rules", heads, lines)


def _run_lengths(found: Shipped) -> str:
    heads = "cases expected a quarter | threshold, cases | months to a false warning: stated | simulated | "
    heads += "months to find a doubling: stated | simulated"
    lines = []
    for e in EXPECTED:
        tuned = tuning(e / 3, QUIET_MONTHS)
        steady, doubled = (found.months(MONTHLY, truth, KNOWN, 0, e, 1, WARNING) for truth in ("steady", "doubled"))
        stated = f"{tuned.in_control_run_length:.1f}", f"{tuned.changed_run_length:.1f}"
        lines.append((f"{e:g}", f"{tuned.threshold:.2f}", stated[0], steady, stated[1], doubled))
    title = "The early warning: mean run length stated by the function and simulated, the usual rate known"
    return _table(title, heads, lines)


def _units(found: Shipped) -> str:
    heads = "cases expected a quarter and unit | units | any false warning in a year | the same, usual rates known | "
    heads += "doubling in one unit: within 4 quarters | middle delay, quarters | middle delay, usual rate known"
    lines = []
    for e, units in [(e, units) for e in UNIT_EXPECTED for units in UNITS]:
        steady, doubled = (
            [(MONTHLY, truth, centre, 24, e, units, WARNING) for centre in (ESTIMATED, KNOWN)]
            for truth in ("steady", "doubled")
        )
        line = [f"{e:g}", str(units), *(found.a_year(*asked) for asked in steady), found.within(4, *doubled[0])]
        lines.append((*line, *(found.delay(*asked) for asked in doubled)))
    text = """Each of k units is asked for 120 k months to a false warning of its own. The usual rate comes from the
unit's own two years, or is known, which is the best that can be had. The review draws a unit's rate towards that of all
units.
"""
    return _table("Early warnings of several units looked at together", heads, lines) + "\n" + text


def _lessons(found: Shipped) -> str:
    """What a committee should take from the tables, the figures read from them."""
    quiet = [found.a_year(QUARTERLY, "steady", centre, b, 4.0, 1, ANY) for centre, b in ((ESTIMATED, 8), (KNOWN, 8))]
    rough = found.a_year(QUARTERLY, "steady", ESTIMATED, 4, 4.0, 1, ANY)
    rise, fall = (
        [found.within(4, QUARTERLY, truth, ESTIMATED, 8, e, 1, ANY) for e in (2.0, 4.0, 8.0, 16.0)]
        for truth in ("doubled", "halved")
    )
    chart = (QUARTERLY, "doubled", ESTIMATED, 8, 2.0, 1, ANY)
    early = (MONTHLY, "doubled", ESTIMATED, 24, 2.0, 1, WARNING)
    at_two = [f"{found.within(4, *one)} (middle delay {found.delay(*one)} quarters)" for one in (early, chart)]
    false = [
        found.a_year(MONTHLY, "steady", centre, 24, 2.0, k, WARNING) for k in (1, 8) for centre in (ESTIMATED, KNOWN)
    ]
    alone, watched = (found.delay(MONTHLY, "doubled", ESTIMATED, 24, 2.0, k, WARNING) for k in (1, 8))
    trend = found.within(8, QUARTERLY, "doubled", ESTIMATED, 8, 8.0, 1, TREND)
    waits = [found.a_year("days_between_nelson", "steady", ESTIMATED, 8, e, 1, ANY) for e in RARE]
    lessons = (
        f"""A chart of quarters seldom speaks for nothing. With 4 cases expected a quarter and eight baseline quarters
        it does so in {quiet[0]} of years ({quiet[1]} if the true rate were known), with four baseline quarters in
        {rough}.""",
        f"""It also misses much. With 2 cases expected a quarter a doubling is found within a year in {rise[0]}, with 4
        in {rise[1]}, with 8 in {rise[2]}, with 16 in {rise[3]}. For a halving it is {fall[0]}, {fall[1]}, {fall[2]} and
        {fall[3]}. A quiet chart of a small unit is no sign that nothing changed.""",
        f"""The early warning finds a doubling sooner. With 2 cases expected a quarter it does so within a year in
        {at_two[0]}, the chart in {at_two[1]}. The price is a false warning in {false[0]} of years, {false[1]} if the
        usual rate were known and not taken from two years of cases. (One in 120 months is 9.5 % a year; a sum that grew
        before the monitored time adds to it.) Answer a warning by looking at the cases.""",
        f"""Watching many units takes longer, and false warnings come all the same. With eight units of 2 cases a
        quarter some unit warns for nothing in {false[2]} of years if each rests on its own two years ({false[3]} if the
        rates were known), and a doubling in one of them takes {watched} quarters to find instead of {alone}.""",
        f"""Six quarters rising or falling add little: with 8 cases expected a quarter that rule shows {trend} of
        doublings within two years. Early finds are nearly all single quarters outside the limits; the run of eight
        finds slow ones.""",
        f"""Days between cases speak for nothing more often the more cases there are: with eight baseline waits and the
        limits that the review uses (nelson) in {waits[0]}, {waits[1]} and {waits[2]} of years at 0.5, 1 and 2 cases a
        quarter. Each wait is a point. One such signal weighs less than one by quarter.""",
    )
    items = [
        textwrap.fill(f"{n}. {' '.join(text.split())}", 120, subsequent_indent="   ")
        for n, text in enumerate(lessons, start=1)
    ]
    return "\n".join(["## What a committee should take from it", "", *items, ""])


def main() -> int:
    """Runs the study and writes it, or prints one with fewer series."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--series", type=int, default=SERIES, help="per setting")
    given = parser.parse_args()
    rows = study(given.series)
    if given.series != SERIES:
        print(markdown(rows))
        return 0
    with SHIPPED.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    TABLE.write_text(markdown(rows), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
