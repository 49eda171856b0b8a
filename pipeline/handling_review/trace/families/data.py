"""Rows in and out, findings, the posted annual summary, and published rates."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import unquote

from handling_review.trace.family import Builder, Built, Family, Groups
from handling_review.trace.formula import Formula, Input
from handling_review.trace.scope import Scope
from handling_review.trace.selection import RANGES, Selection, one_of, quoted

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

WITH_FATE = ("incidents", "hours", "training")
OUTCOME_OF = {
    "deaths": "death",
    "days_away_cases": "days_away",
    "restricted_cases": "restricted_or_transfer",
    "other_cases": "other_recordable",
}
LOST = ("after the exports were taken", "unit without hours", "no outcome")


def _read(tracer: Tracer, parts: Groups) -> Built:
    listed = [one for one in tracer.output.manifest["inputs"] if parts["file"] in ("all", one["file"])]
    inputs = tuple(
        Input(f"file_{place}", float(one["rows"]), "rows", source=f"{one['name']} (manifest.json, inputs)")
        for place, one in enumerate(listed, start=1)
    )
    return Built(Formula(" + ".join(one.name for one in inputs) or "0", inputs))


def _kind(kind: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        start = f"rows/{kind}/{parts['file']}/"
        keys = tracer.output.keys(start)
        names = {f"rule_{place}": key for place, key in enumerate(keys, start=1)}
        rules = ", ".join(unquote(key.removeprefix(start)) for key in keys) or "no rule"
        return Built(tracer.formula(" + ".join(names) or "0", names, f"Rules in this order: {rules}."))

    return build


def _all_used(tracer: Tracer, parts: Groups) -> Built:
    files = list(dict.fromkeys(str(one["file"]) for one in tracer.output.manifest["inputs"]))
    names = {f"used_{file}": f"rows/used/{file}" for file in files}
    return Built(tracer.formula(" + ".join(names) or "0", names))


def _rule_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    file, rule = parts["file"], unquote(parts["rule"])
    if file in WITH_FATE:
        where: tuple[str, ...] = (f"fate = {quoted(rule)}",)
        table = f"stg_{file}"
    elif file == "events" and rule != "used":
        table, where = (
            "raw_events",
            ("date NOT BETWEEN (SELECT review_start FROM settings) AND (SELECT review_end FROM settings)",),
        )
    elif file == "events":
        table, where = (
            "raw_events",
            ("date BETWEEN (SELECT review_start FROM settings) AND (SELECT review_end FROM settings)",),
        )
    else:
        table, where = f"raw_{file}", ()
    selection = Selection(f"rows of {file}: {rule}", file, table, where, lines=RANGES)
    has_any = tracer.output.scalar(selection.query())
    return (selection,) if has_any or rule == "used" else ()


def _rule(tracer: Tracer, parts: Groups) -> Built:
    file, rule = parts["file"], unquote(parts["rule"])
    row = next((r for r in tracer.output.table("row_accounting") if r["file"] == file and r["rule"] == rule), {})
    words = f"Rows of {file} under the rule {rule!r}: {row.get('meaning', '')}"
    if _rule_rows(tracer, parts):
        return Built(words=words)
    lines = _finding_lines(tracer, file, rule)
    where = f" Lines named by the findings: {lines}." if lines else ""
    note = f"These rows never reached the database: the rule met them while the file was read.{where}"
    inputs = (Input("rows", float(row.get("rows", 0) or 0), "rows", source="tables/row_accounting.csv"),)
    return Built(Formula("rows", inputs), words=words, notes=(note,))


def _finding_lines(tracer: Tracer, file: str, rule: str) -> str:
    names = {str(one["name"]) for one in tracer.output.manifest["inputs"] if one["file"] == file}
    found = [
        f"{row['file']}, line {row['line']}"
        for row in tracer.output.findings
        if row["rule"] == rule and row["file"] in names and row["line"] not in ("", "0")
    ]
    return "; ".join(found)


def _finding(tracer: Tracer, parts: Groups) -> Built:
    file, rule = parts["file"], unquote(parts["rule"])
    rows = [
        row
        for row in tracer.output.findings
        if row["severity"] == parts["severity"] and row["file"] == file and row["rule"] == rule
    ]
    inputs = tuple(
        Input(
            f"finding_{place}",
            float(row["count"]),
            "times",
            source=f"findings.csv: {file}, the first at line {row['line']}"
            if row["line"] not in ("", "0")
            else "findings.csv: no single line",
        )
        for place, row in enumerate(rows, start=1)
    )
    todo = tuple(dict.fromkeys(f"What to do: {row['what_to_do']}" for row in rows))
    return Built(
        Formula(" + ".join(one.name for one in inputs) or "0", inputs),
        words=f"Times that {file} was found with: {rule.replace('{', '(').replace('}', ')')}",
        notes=(*todo, "The value found is not printed here; findings.csv has it where it is not personal."),
    )


def _findings(tracer: Tracer, parts: Groups) -> Built:
    start = f"findings/{parts['severity']}/"
    keys = tracer.output.keys(start)
    inputs = tuple(
        Input(f"kind_{place}", 1, "finding", source=unquote(key.removeprefix(start)))
        for place, key in enumerate(keys, start=1)
    )
    words = {"blocks": "that stop a review", "look": "worth a look", "note": "for the record"}
    return Built(
        Formula(" + ".join(one.name for one in inputs) or "0", inputs, "One for each kind of finding in a file."),
        words=f"Kinds of findings {words.get(parts['severity'], parts['severity'])}",
    )


def _posted(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (
        Selection(
            f"the posted annual summary of {parts['year']}",
            "annual_totals",
            "raw_annual_totals",
            (f"year = {int(parts['year'])}",),
        ),
    )


def _posted_value(tracer: Tracer, parts: Groups) -> Built:
    figure = parts["figure"]
    column = figure if figure in OUTCOME_OF else "hours"
    query = f"SQL SELECT CAST({column} AS DOUBLE) FROM raw_annual_totals WHERE year = {int(parts['year'])}"
    words = f"{figure.replace('_', ' ').capitalize()} of {parts['year']} as posted on Form 300A"
    return Built(tracer.formula("posted", {"posted": query}), words=words)


def _in_review(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    year, figure = int(parts["year"]), parts["figure"]
    if figure == "hours":
        own = (
            f"quarter IN (SELECT quarter FROM quarters WHERE date_part('year', quarter_start) = {year} "
            f"AND date_part('year', quarter_end) = {year})"
        )
        return (Scope(f"the quarters of {year}", (own,)).of_hours(),)
    return (
        Selection(
            f"used rows of {year} with the outcome {OUTCOME_OF[figure].replace('_', ' ')}",
            "incidents",
            "stg_incidents",
            ("fate = 'used'", f"date_part('year', event_date) = {year}", f"outcome = {quoted(OUTCOME_OF[figure])}"),
            unit="cases",
        ),
    )


def _set_aside(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    year, figure = int(parts["year"]), parts["figure"]
    if figure == "hours":
        return ()
    return (
        Selection(
            f"rows of {year} with this outcome that could not be used",
            "incidents",
            "stg_incidents",
            (
                one_of("fate", LOST),
                f"date_part('year', event_date) = {year}",
                f"outcome = {quoted(OUTCOME_OF[figure])}",
            ),
        ),
    )


def _set_aside_words(tracer: Tracer, parts: Groups) -> Built:
    words = f"Rows of {parts['year']} that could not be used ({parts['figure'].replace('_', ' ')})"
    if parts["figure"] == "hours":
        return Built(Formula("0", (), "Rows are not counted for hours."), words=words)
    return Built(words=words)


def _reference_where(parts: Groups) -> tuple[str, ...]:
    return (
        f"naics = {quoted(unquote(parts['naics']))}",
        f"ownership = {quoted(parts['ownership'])}",
        f"CAST(year AS VARCHAR) = {quoted(parts['year'])}",
        f"case_type = {quoted(parts['series'])}",
    )


def _reference(tracer: Tracer, parts: Groups) -> Built:
    where = " AND ".join(_reference_where(parts))
    start = f"FROM raw_reference_rates WHERE {where} ORDER BY source DESC LIMIT 1"
    inputs = {
        "published": f"SQL SELECT CAST(rate AS DOUBLE) {start}",
        "base_hours": f"SQL SELECT CAST(base_hours AS DOUBLE) {start}",
    }
    source = str(tracer.output.scalar(f"SELECT source {start}") or "not given")
    industry = f"industry {unquote(parts['naics'])}, {parts['ownership'].replace('_', ' ')}, {parts['year']}"
    return Built(
        tracer.formula("published * 200000 / base_hours", inputs),
        words=f"Published rate per 200,000 hours: {{what}}, {industry}",
        notes=(f"Source as given in the file: {source}",),
    )


def _reference_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    return (Selection("the published rate", "reference_rates", "raw_reference_rates", _reference_where(parts)),)


def _bytes(tracer: Tracer, parts: Groups) -> Built:
    name = unquote(parts["name"])
    listed = [one for one in tracer.output.manifest["inputs"] if one["file"] == parts["file"] and one["name"] == name]
    inputs = tuple(
        Input("bytes", float(one["bytes"]), "bytes", source=f"manifest.json; sha256 {one['sha256']}")
        for one in listed[:1]
    )
    return Built(Formula("bytes", inputs), words=f"Size of the file {name}")


def _read_file(tracer: Tracer, parts: Groups) -> Built:
    name = unquote(parts["name"])
    listed = [one for one in tracer.output.manifest["inputs"] if one["file"] == parts["file"] and one["name"] == name]
    inputs = tuple(
        Input("rows", float(one["rows"]), "rows", source=f"manifest.json; sha256 {one['sha256']}") for one in listed[:1]
    )
    return Built(Formula("rows", inputs), words=f"Rows under the header of the file {name}")


FAMILIES = (
    Family("rows/in/{file}", "Rows that came in: {file}", build=_read),
    Family("rows/used/all", "Rows used, all files", build=_all_used),
    Family("rows/not_used/all", "Rows not used, all files", "came_in - used",
           {"came_in": "rows/in/all", "used": "rows/used/all"}),
    *(Family(f"rows/{kind}/{{file}}", f"Rows {words}: {{file}}", build=_kind(kind))
      for kind, words in (("used", "used"), ("set_aside", "set aside because they must be put right"),
                          ("excluded", "rightly left out"))),
    Family("rows/read/{file}/{name}", "", build=_read_file),
    Family("rows/{kind}/{file}/{rule}", "", build=_rule, rows=_rule_rows),
    Family("rows_set_aside/incidents", "Rows of the injury log that could not be used", "set_aside",
           {"set_aside": "rows/set_aside/incidents"}),
    Family("bytes/{file}/{name}", "", build=_bytes),
    Family("findings/{severity}", "", build=_findings),
    Family("findings/{severity}/{file}/{rule}", "", build=_finding),
    Family("posted/{year}/{figure}", "", rows=_posted, build=_posted_value),
    Family("in_review/{year}/{figure}", "The same figure in this review: {figure} of {year}", rows=_in_review),
    Family("posted_gap/{year}/{figure}", "In the review less as posted: {figure} of {year}", "in_review - posted",
           {"in_review": "in_review/{year}/{figure}", "posted": "posted/{year}/{figure}"}),
    Family("posted_set_aside/{year}/{figure}", "", rows=_set_aside, build=_set_aside_words),
    Family("reference/{naics}/{ownership}/{year}/{series}", "", rows=_reference_rows, build=_reference),
)  # fmt: skip
