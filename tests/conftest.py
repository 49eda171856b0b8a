"""What every test may import: the made-up hand facility beside the tests; and what many tests read: a sample review."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock

from handling_review import lean

lean.settle()  # as every command does, here too before numpy is loaded

sys.path.insert(0, str(Path(__file__).parent))

# A process that is killed loses nothing that it has written; waiting for the disk guards against a power cut alone.
# Builds in processes of their own do wait, and the order of waits has a test of its own (tests/unit/test_publish.py).
os.fsync = lambda _: None


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """The folder that ``make`` fills, one for all workers of a run: the first to ask fills it, the others wait."""
    shared = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    folder = shared / name
    with FileLock(shared / f"{name}.lock"):
        if not folder.exists():
            begun = Path(tempfile.mkdtemp(dir=shared, prefix=f"{name}-"))
            make(begun)
            begun.rename(folder)
    return folder


@pytest.fixture(scope="session")
def sample_review(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The folder of the sample's files and that of its finished review with the wide copy: to be read, or copied."""
    from handling_review import review, starter
    from handling_review.program import read_program

    def make(folder: Path) -> None:
        program = read_program(starter.copy_sample(folder / "sample"))
        assert program.review.as_of is not None
        review.build(program, program.review.as_of, folder / "out", wide_copy=True)

    folder = made_once(tmp_path_factory, "sample-review", make)
    return folder / "sample", folder / "out"


@pytest.fixture(scope="session")
def hand_review(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The folder of the hand facility's files and that of its finished review by the command: to be read, or copied."""
    from handling_review.cli import main
    from whole import facility

    def make(folder: Path) -> None:
        assert main(["build", str(facility.write(folder / "files")), "--out", str(folder / "out")]) == 0

    folder = made_once(tmp_path_factory, "hand-review", make)
    return folder / "files", folder / "out"
