"""Kills a publishing process at one line after another of the code that moves a review in place.

Run as ``python killed_publish.py FOLDER exchange|renames``. For every line of ``store/publish.py``, ``store/notes.py``
and ``store/alone.py`` that runs, a child is forked that sends itself SIGKILL there. After each: the review, or, where
the system cannot exchange folders, the review after the next build; the notes beside it; what is left after the next
build. Prints one JSON object: ``lines`` killed at, ``faults`` as sentences.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import sys
from pathlib import Path
from types import FrameType
from typing import Any

from handling_review.store import publish

WATCHED = ("publish.py", "notes.py", "alone.py")
TABLES = ("numbers", "units")


def fill(folder: Path, text: str) -> None:
    """A review of the given text: a page, two tables, and a manifest that names them with their hashes."""
    (folder / "tables").mkdir()
    (folder / "program-review.html").write_text(text * 1000)
    for name in TABLES:
        (folder / "tables" / f"{name}.csv").write_text(text)
    outputs = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    (folder / "manifest.json").write_text(json.dumps({"text": text, "outputs": outputs}))


def broken(out: Path) -> str:
    """What is wrong with the review in ``out``; blank if it is whole."""
    try:
        outputs = json.loads((out / "manifest.json").read_text())["outputs"]
        for name, digest in outputs.items():
            if hashlib.sha256((out / name).read_bytes()).hexdigest() != digest:
                return f"{name} is not what the manifest says"
    except OSError as error:
        return str(error)
    return ""


def put_notes(out: Path) -> dict[str, str]:
    """Notes at the top, in a folder of their own and among the tables; returns them by path."""
    notes = {"minutes.txt": "agreed", "photos/ward/list.txt": "1, 2", "tables/remarks.txt": "see May"}
    for name, text in notes.items():
        path = out / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    (out / "photos" / "gone").symlink_to("nowhere")
    return notes


def lost(out: Path, notes: dict[str, str]) -> list[str]:
    return [name for name, text in notes.items() if not (out / name).is_file() or (out / name).read_text() != text]


class Killer:
    """Counts the lines that run in the watched files; at line number ``at`` the process is killed."""

    def __init__(self, at: int) -> None:
        self.at, self.seen = at, 0

    def __call__(self, frame: FrameType, event: str, _arg: Any) -> Any:
        if Path(frame.f_code.co_filename).name not in WATCHED:
            return None
        if event == "line":
            self.seen += 1
            if self.seen == self.at:
                os.kill(os.getpid(), signal.SIGKILL)
        return self


def child(out: Path, at: int) -> bool:
    """Publish a new review in a child that is killed at its line number ``at``; whether it was."""
    process = os.fork()
    if not process:
        sys.settrace(Killer(at))
        with publish.output_folder(out) as folder:
            sys.settrace(None)
            fill(folder, "new")
            killer = Killer(at - 10_000) if at > 10_000 else Killer(0)
            sys.settrace(killer)
            frame: FrameType | None = sys._getframe()
            while frame:  # frames that are running already
                if Path(frame.f_code.co_filename).name in WATCHED:
                    frame.f_trace = killer
                frame = frame.f_back
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == -signal.SIGKILL


def once(place: Path, at: int, exchanges: bool) -> tuple[bool, list[str]]:
    """One kill in a folder of its own, and everything that is wrong afterwards."""
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    out = place / "out"
    with publish.output_folder(out) as folder:
        fill(folder, "old")
    notes = put_notes(out)
    killed = child(out, at)
    faults = []
    if exchanges:
        if broken(out):
            faults.append(f"right after: {broken(out)}")
        faults += [f"right after: {name} is lost" for name in lost(out, notes)]
    with publish.output_folder(out) as folder:
        fill(folder, "next")
    if broken(out) or json.loads((out / "manifest.json").read_text())["text"] != "next":
        faults.append(f"after the next build: {broken(out)}")
    faults += [f"after the next build: {name} is lost" for name in lost(out, notes)]
    if not (out / "photos" / "gone").is_symlink():
        faults.append("after the next build: the link is lost")
    left = sorted(path.name for path in place.iterdir())
    if left != ["out"]:
        faults.append(f"after the next build there is {left}")
    inside = {path.name for path in out.iterdir()}
    if inside != {"program-review.html", "tables", "manifest.json", "minutes.txt", "photos"}:
        faults.append(f"the review holds {sorted(inside)}")
    return killed, faults


def main(place: Path, way: str) -> dict[str, Any]:
    """Kill before the block (lines 1, 2, ...) and after it (lines 10,001, ...) until a child lives to its end."""
    if way == "renames":
        publish._exchange = lambda _one, _other: False  # a system that cannot exchange two folders
    killed_at, faults = 0, []
    for first in (1, 10_001):
        at = first
        while True:
            killed, found = once(place / "work", at, way == "exchange")
            faults += [f"line {at}: {fault}" for fault in found]
            if not killed:
                break
            killed_at += 1
            at += 1
    return {"lines": killed_at, "faults": faults}


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]), sys.argv[2])))
