"""Moving a review in place: the old one stays whole until the new one is; one build at a time; nothing is lost."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from handling_review.problems import OutputProblem
from handling_review.stopping import Stopped, stoppable
from handling_review.store import notes, publish
from handling_review.store.publish import output_folder


def fill(folder: Path, text: str) -> None:
    (folder / "manifest.json").write_text(text)
    (folder / "tables").mkdir()
    (folder / "tables" / "a.csv").write_text(text)


def beside(out: Path) -> list[str]:
    return sorted(p.name for p in out.parent.iterdir())


def test_a_finished_review_replaces_the_old_one_and_leaves_nothing_beside(tmp_path: Path) -> None:
    out = tmp_path / "out"
    for text in ("one", "two"):
        with output_folder(out) as folder:
            fill(folder, text)
    assert (out / "manifest.json").read_text() == "two"
    assert beside(out) == ["out"]


def test_a_build_that_fails_leaves_the_old_one(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")

    def stopped_half_way() -> None:
        with output_folder(out) as folder:
            fill(folder, "two")
            raise KeyError("stopped")

    with pytest.raises(KeyError):
        stopped_half_way()
    assert (out / "tables" / "a.csv").read_text() == "one"
    assert beside(out) == ["out"]


def test_notes_that_somebody_put_there_are_kept(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    (out / "minutes.txt").write_text("agreed")
    with output_folder(out) as folder:
        fill(folder, "two")
    assert (out / "minutes.txt").read_text() == "agreed"


def test_a_folder_with_other_things_is_refused(tmp_path: Path) -> None:
    (tmp_path / "thesis.doc").write_text("x")
    with pytest.raises(OutputProblem, match="holds other things and no review"), output_folder(tmp_path):
        pass
    assert (tmp_path / "thesis.doc").read_text() == "x"


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputProblem, match="this is a file"), output_folder(tmp_path / "out"):
        pass


def test_leftovers_of_a_killed_build_are_cleaned_and_an_old_review_is_put_back(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (tmp_path / ".out.new-99999").mkdir()
    old = tmp_path / ".out.old-99999"
    old.mkdir()
    fill(old, "one")
    with pytest.raises(KeyError), output_folder(out):
        raise KeyError("stopped")
    assert (out / "manifest.json").read_text() == "one"
    assert beside(out) == ["out"]


def test_one_build_at_a_time_and_the_message_names_the_process(tmp_path: Path) -> None:
    out = tmp_path / "out"
    code = (
        "import sys\nfrom pathlib import Path\nfrom handling_review.store.publish import output_folder\nfrom "
        "handling_review.problems import OutputProblem\ntry:\n    with output_folder(Path(sys.argv[1])):\n        "
        "print('in')\nexcept OutputProblem as problem:\n    print(problem)\n"
    )
    with output_folder(out) as folder:
        fill(folder, "one")
        done = subprocess.run([sys.executable, "-c", code, str(out)], capture_output=True, text=True, check=True)
    assert f"another build (process {os.getpid()}) has been writing there for " in done.stdout
    assert (out / "manifest.json").read_text() == "one"


def test_a_dead_process_does_not_hold_the_lock(tmp_path: Path) -> None:
    out = tmp_path / "out"
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom handling_review.store.publish import output_folder\n"
        "with output_folder(Path(sys.argv[1])):\n    os._exit(9)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(out)], check=False).returncode == 9
    with output_folder(out) as folder:
        fill(folder, "two")
    assert (out / "manifest.json").read_text() == "two"
    assert beside(out) == ["out"]


def test_a_link_is_followed_and_both_spellings_are_one_folder(tmp_path: Path) -> None:
    real = tmp_path / "real"
    (tmp_path / "link").symlink_to(real)
    (tmp_path / "x").mkdir()
    with output_folder(tmp_path / "link") as folder:
        fill(folder, "one")
        for spelled in (real, tmp_path / "x" / ".." / "real", Path(os.path.relpath(real))):
            with pytest.raises(OutputProblem, match=f"process {os.getpid()}"), output_folder(spelled):
                pass
    assert (tmp_path / "link").is_symlink()
    assert (real / "manifest.json").read_text() == "one"
    assert beside(real) == ["link", "real", "x"]


def test_a_circle_of_links_is_told(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(OutputProblem, match="cannot be written"), output_folder(tmp_path / "a" / "out"):
        pass


def test_the_folder_one_stands_in_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    monkeypatch.chdir(out / "tables")
    for spelled in (Path(".."), out):
        with pytest.raises(OutputProblem, match="the folder you are in"), output_folder(spelled):
            pass
    assert (out / "manifest.json").read_text() == "one"


def test_folders_above_are_made_and_a_name_that_is_too_long_is_told(tmp_path: Path) -> None:
    out = tmp_path / "2026" / "autumn" / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    assert (out / "manifest.json").read_text() == "one"
    for name in ("n" * 254, "n" * 300, "/".join(["n" * 200] * 30)):
        with pytest.raises(OutputProblem, match=r"File name too long.*--out"), output_folder(tmp_path / name):
            pass
    assert beside(tmp_path / "2026") == ["2026"]


def test_a_file_above_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputProblem, match="file is a file"), output_folder(tmp_path / "file" / "out"):
        pass


def test_leftovers_are_found_by_the_whole_name_and_others_are_let_be(tmp_path: Path) -> None:
    out = tmp_path / "review[1]*"
    others = (".reviewx.new-1", ".review[1]*.new-1.new-2", ".review[1]*.new-", ".review1.old-3")
    for name in (".review[1]*.new-7", *others):
        (tmp_path / name).mkdir()
    with output_folder(out) as folder:
        fill(folder, "one")
    assert beside(out) == sorted([*others, "review[1]*"])


@pytest.mark.parametrize("exchanges", [True, False])
def test_notes_put_there_while_a_build_runs_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchanges: bool
) -> None:
    if not exchanges:
        monkeypatch.setattr(publish, "_exchange", lambda _one, _other: False)
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    link = notes.link

    def linked_too_early(old: Path, new: Path) -> None:
        link(old, new)
        (out / "late.txt").write_text("late")
        (out / "photos").mkdir()
        (out / "photos" / "one.txt").write_text("one")

    monkeypatch.setattr(notes, "link", linked_too_early)
    with output_folder(out) as folder:
        fill(folder, "two")
    assert (out / "manifest.json").read_text() == "two"
    assert (out / "late.txt").read_text() == "late"
    assert (out / "photos" / "one.txt").read_text() == "one"
    assert beside(out) == ["out"]


def test_where_two_notes_have_one_name_both_are_kept(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    (out / "minutes.txt").write_text("of May")
    left = tmp_path / ".out.new-77"
    left.mkdir()
    fill(left, "old")
    (left / "minutes.txt").write_text("of April")
    with output_folder(out) as folder:
        fill(folder, "two")
    assert (out / "minutes.txt").read_text() == "of May"
    assert (out / "minutes.txt.kept-1").read_text() == "of April"
    assert beside(out) == ["out"]


def test_where_files_cannot_be_linked_notes_are_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", no_links)
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    (out / "minutes.txt").write_text("agreed")
    os.mkfifo(out / "pipe")
    for text in ("two", "three"):
        with output_folder(out) as folder:
            fill(folder, text)
    assert (out / "minutes.txt").read_text() == "agreed"
    assert stat.S_ISFIFO((out / "pipe").stat().st_mode)
    assert sorted(path.name for path in out.iterdir()) == ["manifest.json", "minutes.txt", "pipe", "tables"]


@pytest.mark.parametrize("exchanges", [True, False])
def test_every_file_is_on_disk_before_the_exchange_and_the_parent_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchanges: bool
) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    (out / "minutes.txt").write_text("agreed")
    steps: list[tuple[str, str]] = []
    fsync, exchange, rename = os.fsync, publish._exchange, os.rename

    def synced(handle: int) -> None:
        steps.append(("sync", os.readlink(f"/proc/self/fd/{handle}")))
        fsync(handle)

    def swapped(one: Path, other: Path) -> bool:
        done = exchanges and exchange(one, other)
        steps.extend([("move", str(other))] if done else [])
        return done

    def renamed(one: Path, other: Path) -> None:
        steps.append(("move", str(other)))
        rename(one, other)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(publish, "_exchange", swapped)
    monkeypatch.setattr(os, "rename", renamed)
    with output_folder(out) as folder:
        fill(folder, "two")
    moves = [number for number, (kind, _) in enumerate(steps) if kind == "move"]
    assert [steps[number][1] for number in moves][-1:] == [str(out)]
    before = [path for _, path in steps[: moves[0]]]
    wanted = [folder / "manifest.json", folder / "tables" / "a.csv", folder / "tables", folder, tmp_path]
    assert before[:4] == sorted(before[:4], key=[str(path) for path in (wanted[1], wanted[2], wanted[0], folder)].index)
    assert {str(path) for path in wanted} <= set(before)
    assert before[-1] == str(tmp_path)
    assert steps[moves[-1] + 1] == ("sync", str(tmp_path))


def test_a_signal_waits_until_the_review_is_in_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
    (out / "minutes.txt").write_text("agreed")
    exchange = publish._exchange

    def asked_to_stop(one: Path, other: Path) -> bool:
        signal.raise_signal(signal.SIGTERM)
        done = exchange(one, other)
        signal.raise_signal(signal.SIGINT)
        return done

    monkeypatch.setattr(publish, "_exchange", asked_to_stop)
    with stoppable() as stop, pytest.raises(Stopped), output_folder(out) as folder:
        fill(folder, "two")
    assert stop.exit_code == 143
    assert (out / "manifest.json").read_text() == "two"
    assert (out / "minutes.txt").read_text() == "agreed"
    assert beside(out) == ["out"]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.4, "less than a second"), (1, "1 second"), (59, "59 seconds"), (200, "3 minutes"), (7300, "2 hours")],
)
def test_the_age_of_the_other_build_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seconds: float, text: str
) -> None:
    out = tmp_path / "out"
    with output_folder(out) as folder:
        fill(folder, "one")
        (tmp_path / ".out.pid").write_text("1234 1000000\n")
        monkeypatch.setattr(time, "time", lambda: 1_000_000 + seconds)
        with pytest.raises(OutputProblem) as told, output_folder(out):
            pass
    assert f"another build (process 1234) has been writing there for {text}. Wait for it to end." in str(told.value)


def test_two_processes_never_hold_one_folder_though_the_lock_file_comes_and_goes(tmp_path: Path) -> None:
    code = (
        "import os, sys, time\nfrom pathlib import Path\nfrom handling_review.store.alone import alone\nfrom "
        "handling_review.problems import OutputProblem\nout, inside, held, end = Path(sys.argv[1]), Path(sys.argv[2]), "
        "0, time.monotonic() + 3\nwhile time.monotonic() < end:\n    try:\n        with alone(out):\n            "
        "os.close(os.open(inside, os.O_CREAT | os.O_EXCL))\n            held += 1\n            inside.unlink()\n    "
        "except OutputProblem:\n        pass\nprint(held)\n"
    )
    arguments = [sys.executable, "-c", code, str(tmp_path / "out"), str(tmp_path / "inside")]
    running = [subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(3)]
    answers = [process.communicate() for process in running]
    assert [errors for _, errors in answers] == ["", "", ""]  # two at once would fail to create the same file
    assert sum(int(held) for held, _ in answers) > 20
    assert list(tmp_path.iterdir()) == []
