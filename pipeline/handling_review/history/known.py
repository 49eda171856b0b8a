"""Which hours of the last review can be taken over: its database is whole, and reading would fill it the same way."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handling_review.history.find import DATABASE, MANIFEST, Earlier, findings_back
from handling_review.history.intake_record import tally_back
from handling_review.intake.known_hours import KnownFile, KnownHours
from handling_review.program import Program

_BY_FILE = ("columns", "dates", "decimal_comma", "codes")
_ALIKE = ("hours", "ids")


def known_hours(program: Program, earlier: Earlier, versions: Mapping[str, str], tool_sha256: str) -> KnownHours | None:
    """Hours that the build may take from the folder of the last review; None where all files must be read.

    ``versions``, ``tool_sha256``: of this installation; another one may read a file otherwise. Where ids are kept as
    pseudonyms, how they were written is known from reading alone, so then all files are read; the same after somebody
    was taken out on request, since the files still name the person.
    """
    held = earlier.held
    if earlier.folder is None or held is None or held.removals or program.privacy.pseudonymise:
        return None
    about = held.reviews[-1].about
    told = about["intake"]
    names = [one["name"] for one in told["files"]]
    if len(set(names)) < len(names) or not _reads_alike(about["settings"], program.settings()):
        return None
    if not _is_whole(earlier.folder, versions, tool_sha256):
        return None
    return KnownHours(
        earlier.folder / DATABASE,
        tuple(
            KnownFile(one["name"], one["sha256"], tally_back(one["tally"]))
            for one in told["files"]
            if one["file"] == "hours"
        ),
        tuple(findings_back(dict(one)) for one in told["findings"]),
    )


def _reads_alike(then: Mapping[str, Any], now: Mapping[str, Any]) -> bool:
    """Whether a file of hours would be read the same way under both settings."""

    def concerned(settings: Mapping[str, Any]) -> str:
        parts = [settings[name].get("hours") for name in _BY_FILE] + [settings[name] for name in _ALIKE]
        return json.dumps([*parts, settings["privacy"]], sort_keys=True, default=str)

    return concerned(then) == concerned(now)


def _is_whole(folder: Path, versions: Mapping[str, str], tool_sha256: str) -> bool:
    """Whether the database is the one that its manifest names, made by this very tool."""
    try:
        told: Any = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if told["tool_sha256"] != tool_sha256 or told["versions"] != dict(versions):
            return False
        with (folder / DATABASE).open("rb") as database:
            return bool(told["outputs"][DATABASE] == hashlib.file_digest(database, "sha256").hexdigest())
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return False
