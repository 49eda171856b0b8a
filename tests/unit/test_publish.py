"""Moving a review in place: the old one stays whole until the new one is; one build at a time; nothing is lost."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from handling_review.problems import OutputProblem
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
        "import sys\nfrom pathlib import Path\nfrom handling_review.store.publish import output_folder\n"
        "from handling_review.problems import OutputProblem\n"
        "try:\n    with output_folder(Path(sys.argv[1])):\n        print('in')\n"
        "except OutputProblem as problem:\n    print(problem)\n"
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
