"""Are two reviews of the same files the same to the byte? ``python tests/bench/same_bytes.py --python P --python Q``
writes SAME_BYTES.md beside itself.

Each interpreter needs the package and the same library versions. Each builds the sample twice into one folder (the
second build compares itself with the first), with one thread and with two, under two surroundings that must not matter:
locale, time zone, hash seed, working folder, and how many processors may be used. The version of Python is nowhere in
what comes out, so every file must be equal.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from handling_review import starter

RESULT = Path(__file__).with_name("SAME_BYTES.md")
AS_OF = ("2026-07-20", "2026-10-10")
CHILD = """
import os, sys
from handling_review.store import database
database.THREADS = int(sys.argv[1])
if int(sys.argv[1]) == 1:
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from handling_review.cli import main
sys.exit(main(sys.argv[2:]))
"""
SURROUNDINGS = {
    "plain": {"LC_ALL": "C", "TZ": "UTC", "PYTHONHASHSEED": "0"},
    "strange": {"LC_ALL": "C.UTF-8", "TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "4711", "PYTHONUTF8": "0"},
}
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"), "1")


@dataclass(frozen=True)
class Built:
    """The hashes of one run's files by name, and how long the two builds took."""

    files: dict[str, str]
    seconds: float


def version_of(python: str) -> str:
    """As the interpreter says it."""
    words = [python, "-c", "import platform; print(platform.python_version())"]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip()


def build(python: str, threads: int, surroundings: dict[str, str], place: Path) -> Built:
    """Both builds of the sample in a folder of their own."""
    program = starter.copy_sample(place / "in")
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "PYTHONPATH", "HOME")}
    environment = kept | surroundings | (ONE_THREAD if threads == 1 else {})
    began = time.monotonic()
    for day in AS_OF:
        words = [python, "-c", CHILD, str(threads), "build", str(program), "--as-of", day, "--out", str(place / "out")]
        ended = subprocess.run(words, capture_output=True, text=True, env=environment, cwd=place)
        if ended.returncode not in (0, 1):
            raise SystemExit(f"{python}: {ended.stderr}")
    seconds = time.monotonic() - began
    out = place / "out"
    found = {
        str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }
    return Built(found, seconds)


def differing(first: dict[str, str], other: dict[str, str]) -> list[str]:
    """The files that are not equal, or are in one of the two only."""
    return sorted(name for name in first.keys() | other.keys() if first.get(name) != other.get(name))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--python", action="append", help="an interpreter; may be given more than once (default: this)")
    asked.add_argument("--print", action="store_true", help="do not write the summary")
    chosen = asked.parse_args()
    runs = itertools.product(chosen.python or [sys.executable], (1, 2), SURROUNDINGS)
    first: Built | None = None
    rows, bad = [], 0
    for python, threads, name in runs:
        with tempfile.TemporaryDirectory() as folder:
            built = build(python, threads, SURROUNDINGS[name], Path(folder))
        first = first or built
        unlike = differing(first.files, built.files)
        bad += len(unlike)
        page, manifest = built.files["program-review.html"][:16], built.files["manifest.json"][:16]
        rows.append(
            f"| {version_of(python)} | {threads} | {name} | {page} | {manifest} | {len(built.files)} "
            f"| {len(unlike)} | {built.seconds:.1f} |"
        )
        print(rows[-1], *unlike[:5], flush=True)
    assert first is not None
    lines = [
        "# The same bytes",
        "",
        "`python tests/bench/same_bytes.py --python ...`: the sample built as of "
        f"{AS_OF[0]} and again as of {AS_OF[1]} into one folder. Every file of the folder is hashed, the database and "
        "the kept rows included, and compared with those of the first line.",
        "",
        *(f"- {name}: {json.dumps(what)}" for name, what in SURROUNDINGS.items()),
        f"- one thread: one processor, {json.dumps(ONE_THREAD)}",
        "",
        "| Python | threads | surroundings | page, SHA-256 | manifest, SHA-256 | files | unlike | seconds for both |",
        "|---|---|---|---|---|---|---|---|",
        *rows,
        "",
        f"Files that differ: {bad}.",
        "",
    ]
    if not chosen.print:
        RESULT.write_text("\n".join(lines), encoding="utf-8", newline="\n")
    raise SystemExit(1 if bad else 0)


if __name__ == "__main__":
    main()
