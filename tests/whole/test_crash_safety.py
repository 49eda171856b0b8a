"""Real builds that are killed, stopped, starved of room or doubled: the last review stays whole and can be read."""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from handling_review.cli import main
from whole import killed_builds

EXCHANGES = 2
HALF_AND_HALF = 2  # kills; the campaign of 200 is tests/bench/kill_builds.py


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return killed_builds.programs(tmp_path_factory.mktemp("states"))


@pytest.fixture(scope="module")
def reviewed(hand_review: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished review of the first state, the hand facility as it is, to be copied."""
    out = Path(shutil.copytree(hand_review[1], tmp_path_factory.mktemp("reviewed") / "out"))
    killed_builds.put_notes(out)
    return out


@pytest.fixture
def out(reviewed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(reviewed, tmp_path / "reviews" / "out"))


def built(program: Path, out: Path, **limits: int) -> subprocess.CompletedProcess[str]:
    def limited() -> None:
        if "file_size" in limits:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limits["file_size"], limits["file_size"]))

    return subprocess.run(
        killed_builds.command(program, out), capture_output=True, text=True, check=False, preexec_fn=limited
    )


def assert_untouched(out: Path, before: str) -> None:
    assert killed_builds.faults(out) == []
    assert killed_builds.fingerprint(out) == before
    assert killed_builds.beside(out) == []


def test_killed_builds_leave_the_last_review_whole_and_the_next_build_cleans_up(
    states: tuple[Path, Path], out: Path
) -> None:
    dice = random.Random(1970)
    lengths = killed_builds.seconds_to_publish(states[0], out)
    kills = [
        killed_builds.kill_once(states, out, dice, near_exchange=number % 2 == 1, lengths=lengths)
        for number in range(HALF_AND_HALF)
    ]
    assert [fault for kill in kills for fault in kill.faults] == []
    assert sum(kill.was_running for kill in kills) >= HALF_AND_HALF / 2
    assert any(kill.kept_old for kill in kills)


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_build_that_is_asked_to_stop_ends_cleanly(
    states: tuple[Path, Path], out: Path, number: int, code: int
) -> None:
    before = killed_builds.fingerprint(out)
    process = killed_builds.start(states[1], out)
    fresh = out.parent / f".out.new-{process.pid}"
    while process.poll() is None and not (fresh / "review.duckdb").exists():
        time.sleep(killed_builds.SLICE)
    process.send_signal(number)
    said = process.communicate()
    assert process.returncode == code, said
    assert "stopped; the last finished review is whole." in said[1]
    assert "Traceback" not in said[1]
    assert_untouched(out, before)


def test_another_build_is_refused_and_readers_are_not(states: tuple[Path, Path], out: Path) -> None:
    """The running build is held still, so that both surely meet it."""
    process = killed_builds.start(states[1], out)
    fresh = out.parent / f".out.new-{process.pid}"
    while process.poll() is None and not (fresh / "review.duckdb").exists():
        time.sleep(killed_builds.SLICE)
    process.send_signal(signal.SIGSTOP)
    try:
        for spelled in (out, out.parent / "x" / ".." / "out", Path(os.path.relpath(out))):
            (out.parent / "x").mkdir(exist_ok=True)
            done = built(states[1], spelled)
            assert done.returncode == 5
            assert f"another build (process {process.pid}) has been writing there for " in done.stderr
        with duckdb.connect(str(out / "review.duckdb"), read_only=True) as database:
            assert database.execute("SELECT count(*) FROM raw_hours").fetchone() == (8,)
            process.send_signal(signal.SIGCONT)
            process.communicate()
            assert process.returncode == 0  # while the old database is open still
            assert database.execute("SELECT sum(hours) FROM raw_hours").fetchone() == (2172,)
        with duckdb.connect(str(out / "review.duckdb"), read_only=True) as database:
            assert database.execute("SELECT sum(hours) FROM raw_hours").fetchone() == (2176,)
    finally:
        process.kill()
        process.communicate()


def test_a_reader_never_meets_a_missing_or_half_page(states: tuple[Path, Path], out: Path) -> None:
    """The folder is exchanged while two threads read the page and a table, as fast as they can from the moment on at
    which the new review is whole; while it is being made they look every few hundredths of a second."""
    other = out.parent / "other"
    assert main(["build", str(states[1]), "--out", str(other)]) == 0
    pages = {(folder / "program-review.html").read_bytes() for folder in (out, other)}
    numbers = {(folder / "tables" / "numbers.csv").read_bytes() for folder in (out, other)}
    assert len(pages) == len(numbers) == 2
    wrong: list[str] = []
    reads = [0]
    done = threading.Event()
    last = out.parent / f".out.new-{os.getpid()}" / "manifest.json"
    seconds_between = 0.02

    def read() -> None:
        while not (done.is_set() or wrong):
            try:
                if (out / "program-review.html").read_bytes() not in pages:
                    wrong.append("half a page")
                if (out / "tables" / "numbers.csv").read_bytes() not in numbers:
                    wrong.append("half a table")
            except OSError as error:
                wrong.append(str(error))
            reads[0] += 1
            if (out.parent / f".out.new-{os.getpid()}").exists() and not last.exists():
                time.sleep(seconds_between)

    readers = [threading.Thread(target=read) for _ in range(2)]
    for reader in readers:
        reader.start()
    try:
        for number in range(EXCHANGES):
            assert main(["build", str(states[number % 2]), "--out", str(out)]) == 0
    finally:
        done.set()
        for reader in readers:
            reader.join()
    assert wrong == []
    assert reads[0] > 100


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system in memory of its own; needs the right to mount."""
    place = tmp_path / "disk"
    place.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", str(place)], capture_output=True, text=True, check=False
    )
    if done.returncode:
        pytest.skip(f"mounting is not allowed here ({done.stderr.strip()}); the test with a limit on sizes stands in")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_is_told_and_leaves_the_last_review_whole(
    states: tuple[Path, Path], reviewed: Path, small_disk: Path
) -> None:
    out = Path(shutil.copytree(reviewed, small_disk / "out"))
    before = killed_builds.fingerprint(out)
    used = 4096 * -(-shutil.disk_usage(small_disk).used // 4096)
    codes = []
    for free_kb in (0, 16, 256, 1024, 4096, 8192):
        size = used + free_kb * 1024
        subprocess.run(["mount", "-o", f"remount,size={size}", str(small_disk)], check=True)
        done = built(states[1], out)
        codes.append(done.returncode)
        if done.returncode:
            assert done.returncode == 5, done.stderr
            assert "cannot be written" in done.stderr
            assert "Traceback" not in done.stderr
        if done.returncode or killed_builds.fingerprint(out) == before:
            assert_untouched(out, before)
    assert codes[:4] == [5, 5, 5, 5]
    subprocess.run(["mount", "-o", "remount,size=64m", str(small_disk)], check=True)
    assert built(states[1], out).returncode == 0
    assert killed_builds.faults(out) == []
    assert killed_builds.beside(out) == []


@pytest.mark.parametrize("kilobytes", [4, 256, 1024, 2048])
def test_a_file_that_cannot_grow_is_told_and_leaves_the_last_review_whole(
    states: tuple[Path, Path], out: Path, kilobytes: int
) -> None:
    """Works without the right to mount: the system refuses to let any file grow beyond so much."""
    before = killed_builds.fingerprint(out)
    done = built(states[1], out, file_size=kilobytes * 1024)
    assert done.returncode == 5, done.stderr
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert_untouched(out, before)


def test_a_read_only_place_is_told(states: tuple[Path, Path], out: Path) -> None:
    before = killed_builds.fingerprint(out)
    place = out.parent
    is_root = os.geteuid() == 0
    if is_root:  # permissions do not bind root: the same folder is mounted over itself, read-only
        first = subprocess.run(["mount", "--bind", str(place), str(place)], capture_output=True, text=True, check=False)
        if first.returncode:
            pytest.skip(f"root without the right to mount cannot be shut out ({first.stderr.strip()})")
        subprocess.run(["mount", "-o", "remount,ro,bind", str(place)], check=True)
    else:
        place.chmod(0o500)
    try:
        done = built(states[1], out)
        fresh = built(states[1], place / "new" / "review")
    finally:
        if is_root:
            subprocess.run(["umount", "-l", str(place)], check=True)
        else:
            place.chmod(0o700)
    for one in (done, fresh):
        assert one.returncode == 5
        assert "cannot be written (" in one.stderr
        assert "Choose another folder with --out." in one.stderr
    assert_untouched(out, before)
