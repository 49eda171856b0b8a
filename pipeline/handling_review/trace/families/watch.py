"""Signal or noise: control charts, days between cases, early warnings."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from handling_review.trace.family import Builder, Built, Family, Groups
from handling_review.trace.formula import Formula, Input
from handling_review.trace.scope import Scope
from handling_review.trace.selection import SERIES_SQL, Selection, one_of

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

WHOLE = "Whole facility"


def _who(parts: Groups) -> str:
    return parts.get("unit") or "facility"


def _name(tracer: Tracer, parts: Groups) -> str:
    from handling_review.trace.scope import unit_of

    return tracer.places.name(unit_of(parts["unit"])) if parts.get("unit") else WHOLE


def _scope(tracer: Tracer, parts: Groups) -> Scope:
    return tracer.places.unit(parts["unit"]) if parts.get("unit") else tracer.places.whole()


def _baseline(tracer: Tracer, parts: Groups) -> list[str]:
    name = _name(tracer, parts)
    rows = [row for row in tracer.output.table("control_chart") if row["place"] == name]
    return [row["quarter"] for row in rows if row["in_baseline"] == "True"]


def _rule(tracer: Tracer, parts: Groups, table: str) -> str:
    words = {
        "before_start": "the quarters before the start make the centre line, so that it stays put",
        "stated": "the program file states which quarters make the centre line",
        "all_but_latest": "all quarters but the latest four make the centre line",
        "all": "all quarters make the centre line",
    }
    name = _name(tracer, parts)
    row = next((row for row in tracer.output.table(table) if row["place"] == name), {})
    return words.get(row.get("baseline_rule", ""), "")


def _point(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    found = tracer.places.of(f"{_who(parts)}/{parts['q']}")
    return () if found is None else (found.of_cases(parts["series"]),)


def _centre(tracer: Tracer, parts: Groups) -> Built:
    quarters, who = _baseline(tracer, parts), _who(parts)
    names = [(q.replace("-", "_"), q) for q in quarters]
    cases = {f"cases_{name}": f"cases/{who}/{q}/{parts['series']}" for name, q in names}
    hours = {f"hours_{name}": f"hours/{who}/{q}/{parts['series']}" for name, q in names}
    rule = _rule(tracer, parts, "control_chart")
    return Built(
        tracer.formula(f"({' + '.join(cases)}) * 200000 / ({' + '.join(hours)})", {**cases, **hours}),
        words=f"Centre line of the control chart: {{what}}, {_name(tracer, parts)}",
        notes=(f"The line is the rate of {', '.join(quarters)}: {rule}.",),
    )


def _centre_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    quarters = _baseline(tracer, parts)
    scope = _scope(tracer, parts).also("the quarters that make the centre line", one_of("quarter", quarters))
    return scope.of_cases(parts["series"]), scope.of_hours()


def _limit(tracer: Tracer, parts: Groups) -> Built:
    who, q, series = _who(parts), parts["q"], parts["series"]
    inputs = {"centre": f"chart_centre/{who}/chart/{series}", "hours": f"hours/{who}/{q}/{series}"}
    words = f"{parts['limit']} control limit in {q}: {{what}}, {_name(tracer, parts)}"
    quarters = _baseline(tracer, parts)
    mean = sum(tracer.value(f"cases/{who}/{one}/{series}") for one in quarters) / max(len(quarters), 1)
    if mean >= 50:
        return Built(tracer.formula("", inputs), words=words, method="laney")
    tail = "NORM_S_DIST(-3)" if parts["limit"] == "lower" else "1 - NORM_S_DIST(-3)"
    expression = f"POISSON_INV({tail}, centre * hours / 200000) * 200000 / hours"
    return Built(tracer.formula(expression, inputs), words=words, method="control_limits")


def _rate(tracer: Tracer, parts: Groups) -> Built:
    end = f"{_who(parts)}/{parts['q']}/{parts['series']}"
    return Built(
        tracer.formula("cases * 200000 / hours", {"cases": f"cases/{end}", "hours": f"hours/{end}"}),
        words=f"Rate in {parts['q']}, as a point of the control chart: {{what}}, {_name(tracer, parts)}",
    )


def _cases(tracer: Tracer, parts: Groups) -> Built:
    return Built(words=f"Cases in {parts['q']}, as a point of the control chart: {{what}}, {_name(tracer, parts)}")


def _ordered(parts: Groups, unit: str) -> str:
    """The cases of one place in the order of their events."""
    conditions = [*SERIES_SQL[parts["series"]].split(" AND "), *([one_of("unit", [unit])] if unit else [])]
    return (
        "SELECT file_no, record, line, row_number() OVER (ORDER BY event_date, case_number, file_no, record) AS place "
        f"FROM int_cases WHERE {' AND '.join(conditions)}"
    )


def _pair_of_cases(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    from handling_review.trace.scope import unit_of

    listed = _ordered(parts, unit_of(parts["unit"]) if parts.get("unit") else "")
    where, words = "place = (SELECT max(place) FROM ranked)", "the last case"
    if parts["n"] != "open":
        n = int(parts["n"])
        where, words = f"place IN ({n - 1}, {n})", f"cases {n - 1} and {n} in the order of their events"
    return (
        Selection(
            title=f"{words}, {_name(tracer, parts)}",
            file="incidents",
            table=f"(WITH ranked AS ({listed}) SELECT * FROM ranked WHERE {where}) AS two",
            where=(),
            unit="cases",
            note="The days of single cases are not printed; they stand in the log at these lines.",
        ),
    )


def _wait(tracer: Tracer, parts: Groups) -> Built:
    is_open = parts["n"] == "open"
    unit = parts.get("unit", "")
    from handling_review.trace.scope import unit_of

    place = unit_of(unit) if unit else ""
    series = parts["series"]
    conditions = f"{one_of('unit', [place])} AND series = '{series}'"
    if is_open:
        query = f"SQL SELECT 7 * (min(days_since) // 7) FROM out_waits WHERE {conditions}"
        words = "Days from the last case to the day through which the log is complete, cut to whole weeks"
    else:
        query = f"SQL SELECT days FROM out_waits WHERE {conditions} AND position = {int(parts['n'])}"
        words = f"Days from case {int(parts['n']) - 1} to case {parts['n']}"
    sense = "The day of the one event less the day of the other; the days themselves are not printed."
    return Built(tracer.formula("days", {"days": query}, sense), words=f"{words}: {{what}}, {_name(tracer, parts)}")


def _waits(tracer: Tracer, parts: Groups) -> Built:
    name, who, series = _name(tracer, parts), _who(parts), parts["series"]
    rows = [
        row
        for row in tracer.output.table("days_between_cases")
        if row["place"] == name and row["has_not_ended"] != "True" and row["in_baseline"] == "True"
    ]
    inputs = {f"wait_{row['case_in_order']}": f"wait/{who}/waits/{series}/{row['case_in_order']}" for row in rows}
    powers = ", ".join(f"{one} ** (1 / 3.6)" for one in inputs)
    half = f"2.66 * MOVING_RANGE({powers})"
    kind = parts.get("limit", "centre")
    expression = {
        "centre": f"AVERAGE({powers}) ** 3.6",
        "upper": f"(AVERAGE({powers}) + {half}) ** 3.6",
        "lower": f"MAX(MAX(AVERAGE({powers}) - {half}, 0) ** 3.6 - 1, 0)",
    }[kind]
    words = {
        "centre": "Centre line of the chart of days between cases",
        "upper": "Upper limit of the chart of days between cases",
        "lower": "Lower limit of the chart of days between cases, one day taken off since dates give whole days",
    }[kind]
    return Built(tracer.formula(expression, inputs), words=f"{words}: {{what}}, {name}", method="nelson")


def _all_cases(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    scope = _scope(tracer, parts)
    whole = Scope(
        f"{_name(tracer, parts)}, all days of the review", where=tuple(w for w in scope.where if w.startswith("unit"))
    )
    return (whole.of_cases(parts["series"]),)


def _month_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    scope = _scope(tracer, parts)
    month = parts["month"]
    inside = scope.also("", f"strftime(event_date, '%Y-%m') = '{month}'")
    from dataclasses import replace

    return (replace(inside, words=f"{_name(tracer, parts)}, {month}").of_cases(parts["series"]),)


def _month(tracer: Tracer, parts: Groups) -> Built:
    return Built(words=f"Cases in {parts['month']}, as the early warning counts them: {{what}}, {_name(tracer, parts)}")


def _monthly(tracer: Tracer, parts: Groups, what: str, condition: str) -> str:
    from handling_review.trace.scope import unit_of

    own = f"{one_of('unit', [unit_of(parts['unit'])])} AND " if parts.get("unit") else ""
    return f"SQL SELECT sum({what}) FROM out_months WHERE {own}{condition}"


def _running(tracer: Tracer, parts: Groups) -> Built:
    who, series, month = _who(parts), parts["series"], parts["month"]
    start = f"warning_sum/{who}/{series}/"
    months = sorted(key.removeprefix(start) for key in tracer.output.keys(start))
    place = months.index(month)
    inputs = {
        "cases": f"warning_cases/{who}/{series}/{month}",
        "usual_rate": f"warning_usual/{who}/{series}",
        "hours": _monthly(tracer, parts, "hours", f"month = '{month}'"),
    }
    before = "0"
    if place:
        inputs["sum_before"], before = f"{start}{months[place - 1]}", "sum_before"
    expression = f"MAX(0, {before} + cases - usual_rate / LN(2) * hours / 200000)"
    return Built(
        tracer.formula(expression, inputs),
        words=f"Running sum of the early warning after {month}: {{what}}, {_name(tracer, parts)}",
        method="cusum",
    )


def _reference(tracer: Tracer, parts: Groups) -> list[str]:
    """The quarters that say what is usual."""
    from handling_review.evidence.control import LATEST
    from handling_review.evidence.early_warning import reference_quarters
    from handling_review.trace.scope import unit_of

    strata = tracer.strata
    starts = {unit: strata.quarters[at] for unit, at in strata.starts.items() if at > 0}
    if parts.get("unit"):
        unit = unit_of(parts["unit"])
        own = {
            str(row[0])
            for row in tracer.output.rows(f"SELECT DISTINCT quarter FROM out_months WHERE {one_of('unit', [unit])}")
        }
        return [q for q in reference_quarters(tracer.places.complete, LATEST, starts.get(unit)) if q in own]
    return list(reference_quarters(tracer.places.complete, LATEST, max(starts.values(), default=None)))


def _usual(tracer: Tracer, parts: Groups) -> Built:
    quarters = _reference(tracer, parts)
    condition = one_of("quarter", quarters)
    inputs = {
        "cases": _monthly(tracer, parts, parts["series"], condition),
        "hours": _monthly(tracer, parts, "hours", condition),
    }
    is_unit = bool(parts.get("unit"))
    note = f"What is usual comes from {quarters[0]} to {quarters[-1]}."
    if is_unit:
        note += " A unit's few cases say little, so its rate is drawn towards that of all units."
    return Built(
        tracer.formula("" if is_unit else "cases * 200000 / hours", inputs),
        words=f"Usual rate that the early warning doubles: {{what}}, {_name(tracer, parts)}",
        method="weighed" if is_unit else "",
        notes=(note,),
    )


def _usual_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    scope = _scope(tracer, parts).also("quarters that say what is usual", one_of("quarter", _reference(tracer, parts)))
    return scope.of_cases(parts["series"]), scope.of_hours()


def _lengths(what: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        end = f"{_who(parts)}/{parts['series']}"
        inputs = {"usual_rate": f"warning_usual/{end}"}
        if "false" not in what and "reach" not in what:
            inputs["threshold"] = f"warning_at/{end}"
        return Built(
            tracer.formula("", inputs), words=f"{what}: {{what}}, {_name(tracer, parts)}", method="cusum_lengths"
        )

    return build


def _noise(tracer: Tracer, parts: Groups) -> Built:
    inputs = {"centre": f"chart_centre/facility/chart/{parts['series']}"}
    return Built(tracer.formula("", inputs))


def _study(tracer: Tracer, parts: Groups) -> Built:
    from handling_review.evidence.chart_study import rows

    kind, column = (
        parts["kind"],
        {
            "expected": "expected_per_quarter",
            "quarters_per_signal": "quarters_per_signal",
            "doubling_within_4": "found_within_4",
            "halving_within_4": "found_within_4",
        }[parts["kind"]],
    )
    truth = {"doubling_within_4": "doubled", "halving_within_4": "halved"}.get(kind, "steady")
    wanted = {"chart": "u_quarterly", "truth": truth, "centre": "estimated", "rule": "any"}
    line, row = next(
        (line, row)
        for line, row in enumerate(rows(), start=2)
        if all(row[name] == value for name, value in wanted.items())
        and float(row["expected_per_quarter"]) == float(parts["n"])
        and int(row["baseline_periods"]) == 8
    )
    source = f"reports/chart_study.csv of the program, line {line}, column {column}"
    inputs = (Input(column, float(row[column]), source=source),)
    rounded = f"ROUND({column})" if kind == "quarters_per_signal" else column
    return Built(Formula(rounded, inputs))


def _units_watched(tracer: Tracer, parts: Groups) -> Built:
    units = {key.split("/")[1] for key in tracer.output.numbers if re.match(r"warning_quiet/unit:", key)}
    source = "published early warnings, warning_quiet/unit:..."
    return Built(Formula("units", (Input("units", float(len(units)), "units", source=source),)))


def _unit_charts(tracer: Tracer, parts: Groups) -> Built:
    rates = {key.split("/")[1] for key in tracer.output.numbers if re.match(r"chart_centre/unit:", key)}
    waits = {key.split("/")[1] for key in tracer.output.numbers if re.match(r"wait_centre/unit:", key)}
    inputs = (
        Input("charts_of_quarters", len(rates), "charts", source="published centre lines, chart_centre/unit:..."),
        Input("charts_of_days", len(waits), "charts", source="published centre lines, wait_centre/unit:..."),
    )
    return Built(Formula("charts_of_quarters + charts_of_days", inputs))


def _by_chance(tracer: Tracer, parts: Groups) -> Built:
    return Built(
        tracer.formula("", {"charts": "unit_charts/facility"}),
        notes=(
            "The shares of the study (reports/chart_study.csv: steady rate, estimated centre, any rule) for the row "
            "nearest to each unit's chart, by cases expected a quarter and length of the baseline, added up.",
        ),
    )


def _placed(pattern: str, words: str = "", **given: object) -> tuple[Family, ...]:
    """A family for the facility and for units."""
    return tuple(
        Family(pattern.replace("{who}", who), words, **given)  # type: ignore[arg-type]
        for who in ("facility", "{unit}")
    )


FAMILIES = (
    *_placed("chart_cases/{who}/chart/{series}/{q}", rows=_point, build=_cases),
    *_placed("chart_rate/{who}/chart/{series}/{q}", build=_rate),
    *_placed("chart_centre/{who}/chart/{series}", rows=_centre_rows, build=_centre, settings=("charts.baseline_from",
             "charts.baseline_through")),
    *_placed("chart_{limit}/{who}/chart/{series}/{q}", build=_limit),
    *_placed("wait/{who}/waits/{series}/{n}", rows=_pair_of_cases, build=_wait),
    *_placed("wait/{who}/waits/{series}/{open}", rows=lambda t, p: _pair_of_cases(t, {**p, "n": "open"}),
             build=lambda t, p: _wait(t, {**p, "n": "open"})),
    *_placed("wait_centre/{who}/waits/{series}", build=_waits, rows=_all_cases),
    *_placed("wait_{limit}/{who}/waits/{series}", build=_waits, rows=_all_cases),
    *_placed("warning_cases/{who}/{series}/{month}", rows=_month_rows, build=_month),
    *_placed("warning_sum/{who}/{series}/{month}", build=_running),
    *_placed("warning_usual/{who}/{series}", rows=_usual_rows, build=_usual),
    *_placed("warning_at/{who}/{series}", build=_lengths("Cases that the running sum must reach before the warning "
                                                         "speaks")),
    *_placed("warning_quiet/{who}/{series}", build=_lengths("Months on average to a false warning")),
    *_placed("warning_found_after/{who}/{series}", build=_lengths("Months on average until a true doubling is found")),
    Family("chart_false_signals/facility/chart/{series}", "Share of charts like this one that speak with nothing "
           "changing: {what}", build=_noise, method="false_signals"),
    Family("chart_quarters_per_signal/facility/chart/{series}", "Quarters from one signal to the next with nothing "
           "changing: {what}", build=_noise, method="false_signals"),
    Family("study/chart/{n}/{kind}", "How charts of units with {n} cases expected a quarter did on made-up series: "
           "{kind}; eight quarters in the centre line, all three rules", method="study", build=_study),
    Family("units_watched/facility", "Units whose early warning is worked out", build=_units_watched),
    Family("unit_charts/facility", "Charts of single units that are drawn", build=_unit_charts),
    Family("unit_charts_by_chance/facility", "Charts of single units that would show a signal in the latest two "
                                             "quarters "
           "if nothing had changed", build=_by_chance, method="study"),
)  # fmt: skip
