"""Tools for tests that kill, stop or starve a real build: start one, kill it at a moment, look at what is left."""

from __future__ import annotations

import hashlib
import importlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb

from whole import facility

NOTES = {"minutes.txt": "agreed on 4 May\n", "photos/ward/list.txt": "1, 2\n", "tables/remarks.txt": "see May\n"}
SLICE = 0.0002  # seconds between two looks


@dataclass(frozen=True)
class Kill:
    """One build that was killed: how, after how many seconds, whether the old review was there, and all faults."""

    near_exchange: bool
    after: float
    was_running: bool
    kept_old: bool
    next_build: float
    faults: tuple[str, ...]


def programs(folder: Path) -> tuple[Path, Path]:
    """Two states of one small facility, so that an old review can be told from a new one."""
    more = facility.HOURS.replace("009,North,2025-04-01,2025-06-30,91", "009,North,2025-04-01,2025-06-30,95")
    return facility.write(folder / "first"), facility.write(folder / "second", hours=more)


def command(program: Path, out: Path) -> list[str]:
    return [sys.executable, "-m", "handling_review", "build", str(program), "--out", str(out)]


def start(program: Path, out: Path) -> subprocess.Popen[str]:
    """A build as a process of its own, which listens to signals even where this one was told to ignore them."""
    return subprocess.Popen(
        command(program, out),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ,
        preexec_fn=_listen,
    )


def _listen() -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)


class Forked:
    """A build in a child of this process, which has loaded the libraries already; used like ``subprocess.Popen``."""

    def __init__(self, program: Path, out: Path) -> None:
        for name in ("review", "page.build", "evidence.export"):
            importlib.import_module(f"handling_review.{name}")
        importlib.import_module("statsmodels.api")
        from handling_review.cli import main

        self.returncode: int | None = None
        self.pid = os.fork()
        if not self.pid:
            for stream in (1, 2):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
            os._exit(main(["build", str(program), "--out", str(out)]))

    def poll(self) -> int | None:
        if self.returncode is None:
            process, status = os.waitpid(self.pid, os.WNOHANG)
            self.returncode = os.waitstatus_to_exitcode(status) if process else None
        return self.returncode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)

    def communicate(self) -> tuple[str, str]:
        if self.returncode is None:
            self.returncode = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return "", ""


Build = subprocess.Popen[str] | Forked
Starter = Callable[[Path, Path], Build]


def good_build(program: Path, out: Path, begin: Starter = start) -> float:
    """A build that must succeed; returns its seconds."""
    begun = time.monotonic()
    process = begin(program, out)
    said = process.communicate()
    if process.returncode:
        raise AssertionError(f"exit code {process.returncode}: {said[1]}")
    return time.monotonic() - begun


def put_notes(out: Path) -> None:
    for name, text in NOTES.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_text(text)


def fingerprint(out: Path) -> str:
    """SHA-256 of the manifest, which stands for the whole review."""
    return hashlib.sha256((out / "manifest.json").read_bytes()).hexdigest()


def faults(out: Path, notes: bool = True) -> list[str]:
    """Everything that is wrong with a review: files against the manifest, the database, the notes beside it."""
    found = []
    try:
        outputs = json.loads((out / "manifest.json").read_bytes())["outputs"]
        for name, digest in outputs.items():
            if hashlib.sha256((out / name).read_bytes()).hexdigest() != digest:
                found.append(f"{name} is not what the manifest says")
        with duckdb.connect(str(out / "review.duckdb"), read_only=True) as database:
            rows = database.execute("SELECT count(*) FROM raw_hours").fetchone()
            if rows != (8,):
                found.append(f"the database answers {rows}")
    except (OSError, ValueError, duckdb.Error) as error:
        found.append(f"{type(error).__name__}: {error}")
    for name, text in NOTES.items() if notes else ():
        if not (out / name).is_file() or (out / name).read_text() != text:
            found.append(f"the note {name} is lost")
    return found


def beside(out: Path) -> list[str]:
    """What stands beside the output folder."""
    return sorted(path.name for path in out.parent.iterdir() if path != out)


def wait_for_manifest(process: Build, out: Path) -> None:
    """Wait until a running build has written its last file, or has ended."""
    last = out.parent / f".{out.name}.new-{process.pid}" / "manifest.json"
    while process.poll() is None and not last.exists():
        time.sleep(SLICE)


def seconds_to_publish(program: Path, out: Path, begin: Starter = start) -> tuple[float, float]:
    """Seconds of one whole build, and of its part from the last file written to the end of the process."""
    begun = time.monotonic()
    process = begin(program, out)
    wait_for_manifest(process, out)
    written = time.monotonic()
    process.communicate()
    return time.monotonic() - begun, time.monotonic() - written


def kill_once(
    states: tuple[Path, Path],
    out: Path,
    dice: random.Random,
    near_exchange: bool,
    lengths: tuple[float, float],
    begin: Starter = start,
) -> Kill:
    """Kill a build of the state that is not there, look, and let the next build succeed.

    ``lengths``: seconds of a whole build, and from its last file to its end. A kill near the exchange comes after the
    last file was written, any other at any moment of the whole run.
    """
    before = fingerprint(out)
    begun = time.monotonic()
    process = begin(states[1], out)
    if near_exchange:
        wait_for_manifest(process, out)
    time.sleep(dice.uniform(0, lengths[1] if near_exchange else lengths[0]))
    after = time.monotonic() - begun
    process.send_signal(signal.SIGKILL)
    process.communicate()
    wrong = [f"right after: {fault}" for fault in faults(out)]
    kept_old = fingerprint(out) == before
    seconds = good_build(states[0], out, begin)
    wrong += [f"after the next build: {fault}" for fault in faults(out)]
    if fingerprint(out) != before:
        wrong.append("after the next build: not the same review as before")
    if beside(out):
        wrong.append(f"after the next build there is {beside(out)}")
    return Kill(near_exchange, after, process.returncode == -signal.SIGKILL, kept_old, seconds, tuple(wrong))
