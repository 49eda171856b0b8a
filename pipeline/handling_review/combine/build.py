"""Aggregates of several facilities to one review of their health system."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from handling_review import __version__, manifest, review
from handling_review.combine.reading import Received, read_all
from handling_review.evidence import system
from handling_review.evidence.export_system import system_frames
from handling_review.page.system import render
from handling_review.problems import OutputProblem, UsageProblem
from handling_review.store.publish import output_folder
from handling_review.visible import readable

PAGE = "system-review.html"
_LONGEST_NAME = 200


@dataclass(frozen=True)
class Combined:
    """A finished review of a system: the page, and what it found."""

    page: Path
    found: system.System


def combine(paths: Sequence[Path], out: Path, name: str) -> Combined:
    """The review of all facilities under ``paths`` into the folder ``out``.

    Raises ``UsageProblem``, ``DataProblem`` or ``OutputProblem``; nothing is written then.
    """
    title = readable(name).strip()
    if not title or len(title) > _LONGEST_NAME:
        raise UsageProblem(f"--name: a name of 1 to {_LONGEST_NAME} letters is needed.")
    _refuse_facility(out)
    received = read_all(paths)
    found = system.gather([one.held for one in received])
    with output_folder(out) as folder:
        page = render(found, title, [_told(one) for one in received])
        (folder / PAGE).write_text(page, encoding="utf-8", newline="\n")
        _write_tables(found, folder)
        _write_manifest(received, title, folder)
    return Combined(out / PAGE, found)


def _refuse_facility(out: Path) -> None:
    """A facility's review is not replaced by that of the system: its rows and its history would go with it."""
    if any((out / name).exists() for name in (review.PAGE, "review.duckdb", "snapshots")):
        raise OutputProblem(
            f"{out}: this is the review of a facility, and combine puts a new folder in its place. "
            "Choose another folder with --out."
        )


def _told(one: Received) -> tuple[str, str, str, str, str]:
    held = one.held
    return held.facility, held.run_id, held.as_of.isoformat(), held.tool_version, one.sha256


def _write_tables(found: system.System, folder: Path) -> None:
    (folder / "tables").mkdir()
    for name, frame in sorted(system_frames(found).items()):
        review.write_csv(frame, folder / "tables" / f"{name}.csv")


def _write_manifest(received: Sequence[Received], name: str, folder: Path) -> None:
    content = {
        "system": name,
        "inputs": [
            {"facility": one.held.facility, "run_id": one.held.run_id, "sha256": one.sha256} for one in received
        ],
        "outputs": manifest.hashes(folder),
        "version": __version__,
    }
    (folder / manifest.NAME).write_text(manifest.as_json(content) + "\n", encoding="utf-8", newline="\n")
