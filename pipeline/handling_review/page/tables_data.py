"""Tables about the data and the settings: rows, findings, files, published rates, program file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from handling_review.evidence.accounting import FindingGroup
from handling_review.evidence.assemble import Review
from handling_review.page.marks import letter, starts
from handling_review.page.sentence import listed
from handling_review.page.tables import Cell, Column, Table, interval
from handling_review.page.words import notes as words_notes
from handling_review.page.words.data import figure_name
from handling_review.page.words.rates import SERIES_NAME, upper
from handling_review.visible import readable

_KINDS = {"used": "used", "set_aside": "set aside", "excluded": "excluded"}
_SEVERITIES = {"blocks": "▲ stops a part", "look": "◆ look", "note": "○ noted"}


def files_table(review: Review) -> Table:
    """Rows in = rows used + set aside + excluded, one row a file."""
    return Table(
        "What became of every row",
        (
            Column("File"),
            Column("Rows read", "number"),
            Column("Used", "number"),
            Column("Set aside", "number"),
            Column("Excluded", "number"),
            Column("Adds up"),
        ),
        tuple(
            (
                row.file,
                row.rows_in,
                row.used,
                row.set_aside,
                row.excluded,
                "yes" if row.balances else "NO",
            )
            for row in review.accounting.files
        ),
        (words_notes.FATES,),
    )


def reconciliation_table(review: Review) -> Table | None:
    """Posted figures beside the review's; none where no whole year can be compared."""
    if not review.reconciliation.figures:
        return None
    return Table(
        "Posted annual summary and review",
        (
            Column("Year", "label"),
            Column("Figure"),
            Column("Posted", "number"),
            Column("In the review", "number"),
            Column("Difference", "number"),
            Column("Rows set aside", "number"),
            Column("Agrees"),
        ),
        tuple(
            (
                str(row.year),
                figure_name(row.figure),
                row.posted,
                row.in_review,
                row.gap,
                row.set_aside,
                "yes" if row.agrees else "NO",
            )
            for row in review.reconciliation.figures
        ),
        (words_notes.POSTED,),
    )


def rules_table(review: Review) -> Table | None:
    """The rules that left rows out; none when every row was used."""
    rows = tuple(
        (row.file, row.rule.replace("_", " "), _KINDS.get(row.kind, row.kind), row.rows, row.meaning)
        for row in review.accounting.rules
        if row.kind != "used" and row.rows.value
    )
    if not rows:
        return None
    return Table(
        "Rules that left rows out",
        (Column("File"), Column("Rule"), Column("Rows were"), Column("Rows", "number"), Column("Meaning")),
        rows,
    )


def quality_table(review: Review) -> Table | None:
    """Findings by rule, most consequential first; none when there are none."""
    if not review.accounting.findings:
        return None
    return Table(
        "Data to put right, most consequential first",
        (
            Column("File"),
            Column("Asks for", "label"),
            Column("Rule"),
            Column("Rows", "number"),
            Column("Where"),
            Column("What to do"),
        ),
        tuple(
            (
                group.file,
                _SEVERITIES[group.severity],
                group.rule.replace("_", " "),
                group.count,
                _where(group),
                f"{group.message} {group.what_to_do}".strip(),
            )
            for group in review.accounting.findings
        ),
    )


def _where(group: FindingGroup) -> Cell:
    where = []
    if group.columns:
        where.append(group.columns)
    if group.lines:
        lines = ", ".join(str(line) for line in group.lines)
        where.append(f"line {lines}{' and more' if group.more_lines else ''}")
    return "; ".join(where)


def inputs_table(review: Review) -> Table:
    """Every input file with its rows, size and hash."""
    return Table(
        "Files read",
        (
            Column("File"),
            Column("Name"),
            Column("Rows", "number"),
            Column("Bytes", "number"),
            Column("SHA-256", "code"),
        ),
        tuple((row.file, row.name, row.rows, row.size, row.sha256) for row in review.accounting.inputs),
    )


def reference_table(review: Review) -> Table | None:
    """The facility's rates with their ranges beside the published ones; a blank says how to fill it.

    None without four complete quarters, or where neither the program file nor a published rate gives an industry.
    """
    recent = review.rates.recent
    if recent is None or not (review.reference.rates or review.scope.facility_naics):
        return None
    rows: list[tuple[Cell, ...]] = []
    for series in ("recordable", "dart", "days_away"):
        own = recent.of(series)
        here: tuple[Cell, ...] = (upper(SERIES_NAME[series]), own.rate or "no rate", interval(own))
        published = review.reference.of(series)
        rows += [
            (*here, row.rate, row.naics, row.ownership.replace("_", " "), row.year, row.source) for row in published
        ]
        if not published:
            rows.append((*here, "", review.scope.facility_naics, "", "", words_notes.NOT_SHIPPED))
    return Table(
        f"Rates here, four quarters to {recent.quarter}, and published rates of the industry, per 200,000 hours",
        (
            Column("Kind"),
            Column("Here", "number"),
            Column("Likely between", "number"),
            Column("Published", "number"),
            Column("Industry"),
            Column("Ownership"),
            Column("Year"),
            Column("Source"),
        ),
        tuple(rows),
        (words_notes.PUBLISHED,),
    )


def settings_table(review: Review) -> Table:
    """The program file as it was used."""
    return Table(
        "Program file as used",
        (Column("Setting"), Column("Value")),
        tuple((name, value) for name, value in _flat("", review.scope.settings)),
    )


def _flat(prefix: str, settings: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Nested settings as dotted names with their value as text; empty tables are left out."""
    for name, value in settings.items():
        label = f"{prefix}.{name}" if prefix else str(name)
        if isinstance(value, Mapping):
            yield from _flat(label, value)
        elif isinstance(value, list | tuple):
            yield label, ", ".join(readable(str(part)) for part in value) or "none given"
        else:
            text = str(value).lower() if isinstance(value, bool) else readable(str(value))
            yield label, "not set" if value is None or value == "" else text


def versions_table(review: Review) -> Table:
    """The software that made the review."""
    return Table(
        "Software",
        (Column("Name"), Column("Version")),
        tuple(sorted(review.scope.versions.items())),
    )


def diary_table(review: Review) -> Table | None:
    """Program starts and the diary, marked as on the time charts; none when there is neither."""
    names = {row.unit: row.name for row in review.units.rows}
    rows = [(day, "dotted line", listed(units, 12), "program starts") for day, units in starts(review)]
    rows += [
        (entry.date, letter(index), names.get(entry.unit, entry.unit), entry.what)
        for index, entry in enumerate(review.diary)
    ]
    if not rows:
        return None
    return Table(
        "Program starts and what else happened, as marked in the picture",
        (Column("Date"), Column("Mark"), Column("Unit"), Column("What")),
        tuple((str(day), mark, unit, what) for day, mark, unit, what in sorted(rows)),
    )
