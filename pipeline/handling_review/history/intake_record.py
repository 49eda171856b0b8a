"""What the reading of the files found, as plain values and back: a rebuild has the rows but not the files."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from typing import Any, cast

from handling_review.history import chunks
from handling_review.history.chunks import Chunk
from handling_review.history.find import findings_back
from handling_review.intake.contracts import contract
from handling_review.intake.hours_rows import PLAIN, code_plain_rows
from handling_review.intake.known_hours import KeptReader
from handling_review.intake.load import FileRead, Intake
from handling_review.intake.reading import FileReader
from handling_review.intake.tally import RunningSums, StatedTotal, Tally
from handling_review.program import FILE_NAMES
from handling_review.pseudonyms import SHAPE_COLUMNS
from handling_review.store.database import Store


def as_plain(intake: Intake) -> dict[str, Any]:
    """Files and findings of the reading as plain values. No cell of a personal column is among them."""
    return {
        "files": [
            {
                "file": one.file,
                "file_no": one.file_no,
                "name": one.path.name,
                "sha256": one.sha256,
                "size": one.size,
                "tally": _tally_plain(one.reader.tally),
            }
            for one in intake.files
        ],
        "findings": [asdict(finding) for finding in intake.findings],
    }


def load_kept(plain: Mapping[str, Any], kept: Iterable[Chunk], folder: Path, store: Store) -> Intake:
    """Fill the store's raw tables from kept chunks; returns what the reading had found. May raise DamagedSnapshot."""
    listed = list(kept)
    for file in FILE_NAMES:
        if file == "hours":
            chunks.load(store, file, listed, folder, PLAIN)
            code_plain_rows(store)
            continue
        store.load(
            file, [*chunks.columns(file), ("record", "BIGINT"), ("line", "BIGINT"), ("file_no", "INTEGER")], None
        )
        chunks.load(store, file, listed, folder, f"raw_{file}", is_raw=True)
    store.load("ids", SHAPE_COLUMNS, None)  # how ids were written is not kept where they are pseudonyms
    return Intake(
        files=[
            FileRead(
                one["file"],
                one["file_no"],
                Path(one["name"]),
                one["sha256"],
                one["size"],
                cast(FileReader, KeptReader(contract(one["file"]), tally_back(one["tally"]))),
            )
            for one in plain["files"]
        ],
        findings=[findings_back(dict(one)) for one in plain["findings"]],
    )


def _tally_plain(tally: Tally) -> dict[str, Any]:
    return {
        "rows_in": tally.rows_in,
        "used": tally.used,
        "set_aside": dict(tally.set_aside),
        "excluded": dict(tally.excluded),
        "notes": [[column, note, *found] for (column, note), found in tally.notes.items()],
        "totals": [
            [t.line, None if t.stated is None else str(t.stated), str(t.of_all), str(t.since_last)]
            for t in tally.sums.totals
        ],
    }


def tally_back(plain: Mapping[str, Any]) -> Tally:
    """The row accounting of a file from its plain values."""
    totals = [
        StatedTotal(line, None if stated is None else Decimal(stated), Decimal(of_all), Decimal(since_last))
        for line, stated, of_all, since_last in plain["totals"]
    ]
    return Tally(
        rows_in=plain["rows_in"],
        used=plain["used"],
        set_aside=Counter(plain["set_aside"]),
        excluded=Counter(plain["excluded"]),
        notes={(column, note): (rows, line) for column, note, rows, line in plain["notes"]},
        sums=RunningSums(totals=totals),
    )
