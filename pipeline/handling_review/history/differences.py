"""What differs between the last review and this one: rows, maps, settings, version. Rows are compared by content."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handling_review.history import cases as compared
from handling_review.history import chunks
from handling_review.history.book import PastReview
from handling_review.history.cases import CaseChange
from handling_review.history.chunks import Chunk, DamagedSnapshot
from handling_review.history.rows_kept import ASIDE, COUNTED, load_note
from handling_review.intake.load import Intake
from handling_review.program import Program
from handling_review.store.database import Store


@dataclass(frozen=True)
class RowChange:
    """Rows of one kind of change in one place and time; ``unit`` or ``quarter`` None: all of them. Hours are added."""

    kind: str
    unit: str | None
    quarter: str | None
    year: int | None
    rows: int
    hours: float = 0.0


@dataclass(frozen=True)
class ChangedSetting:
    """A setting by its dotted name, as it was and as it is."""

    name: str
    then: str
    now: str


@dataclass(frozen=True)
class Differences:
    """All that differs. ``has_rows``: the last review's rows could be compared.

    ``unread_files``: kinds of file that are byte for byte those of the last review, so that rows that differ were only
    read differently. ``tool``: versions then and now where they differ.
    """

    has_rows: bool
    cases: tuple[CaseChange, ...] = ()
    hours: tuple[RowChange, ...] = ()
    training: tuple[RowChange, ...] = ()
    audits: tuple[RowChange, ...] = ()
    settings: tuple[ChangedSetting, ...] = ()
    same_files: frozenset[str] = frozenset()
    tool: tuple[str, str] | None = None


def between(
    store: Store, last: PastReview, now: Sequence[Chunk], folder: Path, program: Program, intake: Intake, tool: str
) -> Differences:
    """Compare the last review with the one in the store; ``folder`` holds the chunks of both."""
    told = last.about
    tool_then = str(told["versions"].get("handling-review", ""))
    basis = Differences(
        has_rows=False,
        settings=_changed_settings(told["settings"], program.settings()),
        same_files=_same_files(told["intake"]["files"], intake),
        tool=None if tool_then == tool else (tool_then, tool),
    )
    if not last.keeps_rows:
        return basis
    try:
        return replace(
            basis,
            has_rows=True,
            cases=_cases(store, last, folder),
            hours=_hours(store, last, now, folder),
            training=tuple(
                RowChange(row["kind"], row["unit"], row["quarter"], None, int(row["rows"]))
                for row in _plain_changes(store, last, now, folder, "training", "hist_training_changes")
            ),
            audits=tuple(
                RowChange(row["kind"], None, row["quarter"], None, int(row["rows"]))
                for row in _plain_changes(store, last, now, folder, "observations", "hist_audit_changes")
            ),
        )
    except DamagedSnapshot:
        return basis


def _cases(store: Store, last: PastReview, folder: Path) -> tuple[CaseChange, ...]:
    chunks.load(store, "incidents", last.chunks, folder, "then_incidents")
    load_note(store, COUNTED, last.chunks, folder, "then_counted")
    return compared.changes(store.rows("hist_cases_then"), store.rows("hist_cases_now"), last.about["unit_map"])


def _hours(store: Store, last: PastReview, now: Sequence[Chunk], folder: Path) -> tuple[RowChange, ...]:
    differing = _differing(last.chunks, now, "hours")
    _fill(store, "differing_parts", ("part",), [(part,) for part in sorted(differing)])
    chunks.load(store, "hours", [c for c in last.chunks if c.part in differing], folder, "then_hours")
    load_note(store, ASIDE, last.chunks, folder, "then_aside")
    _fill(store, "then_unit_map", ("given", "unit"), sorted(last.about["unit_map"].items()))
    codes = last.about["settings"]["pay_codes"]
    meanings = [(" ".join(code.split()).lower(), meaning) for meaning, listed in codes.items() for code in listed]
    _fill(store, "then_pay_codes", ("pay_code", "meaning"), meanings)
    return tuple(
        RowChange(row["kind"], row["unit"], row["quarter"], row["year"], int(row["rows"]), float(row["hours"] or 0))
        for row in store.rows("hist_hours_changes")
    )


def _plain_changes(
    store: Store, last: PastReview, now: Sequence[Chunk], folder: Path, file: str, query: str
) -> list[dict[str, Any]]:
    differing = _differing(last.chunks, now, file)
    if not differing:
        return []
    _fill(store, f"differing_{file}", ("part",), [(part,) for part in sorted(differing)])
    chunks.load(store, file, [c for c in last.chunks if c.part in differing], folder, f"then_{file}")
    return store.rows(query)


def _fill(store: Store, table: str, names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    store.create(table, [(name, "VARCHAR") for name in names])
    marks = ", ".join("?" for _ in names)
    for row in rows:
        store.execute(f'INSERT INTO "{table}" VALUES ({marks})', list(row))


def _differing(then: Sequence[Chunk], now: Sequence[Chunk], file: str) -> set[str]:
    """Parts of time whose rows are not the same, whatever file of the kind they stand in."""

    def by_part(listed: Sequence[Chunk]) -> dict[str, Counter[str]]:
        found: dict[str, Counter[str]] = {}
        for one in listed:
            if one.file == file:
                found.setdefault(one.part, Counter())[one.content] += 1
        return found

    before, after = by_part(then), by_part(now)
    return {part for part in before.keys() | after.keys() if before.get(part) != after.get(part)}


def _same_files(then: Sequence[Mapping[str, Any]], intake: Intake) -> frozenset[str]:
    before: dict[str, Counter[str]] = {}
    after: dict[str, Counter[str]] = {}
    for one in then:
        before.setdefault(one["file"], Counter())[one["sha256"]] += 1
    for read in intake.files:
        after.setdefault(read.file, Counter())[read.sha256] += 1
    return frozenset(file for file in before if before[file] == after.get(file))


def _changed_settings(then: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[ChangedSetting, ...]:
    before, after = dict(_flat("", then)), dict(_flat("", now))
    return tuple(
        ChangedSetting(name, before.get(name, "not set"), after.get(name, "not set"))
        for name in sorted(before.keys() | after.keys())
        if before.get(name, "not set") != after.get(name, "not set")
    )


def _flat(prefix: str, plain: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Nested settings as dotted names with their value as text."""
    for name, value in plain.items():
        label = f"{prefix}.{name}" if prefix else str(name)
        if isinstance(value, Mapping):
            yield from _flat(label, value)
        elif isinstance(value, list | tuple):
            listed = [
                ", ".join(f"{k} {v}" for k, v in one.items()) if isinstance(one, Mapping) else str(one) for one in value
            ]
            yield label, "; ".join(listed) or "not set"
        else:
            yield label, "not set" if value is None or value == "" else str(value)
