"""What every test may import: the made-up hand facility beside the tests; and what many tests read: a sample review."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from filelock import FileLock

sys.path.insert(0, str(Path(__file__).parent))

# A process that is killed loses nothing that it has written; waiting for the disk guards against a power cut alone.
# Builds in processes of their own do wait, and the order of waits has a test of its own (tests/unit/test_publish.py).
os.fsync = lambda _: None


@pytest.fixture(scope="session")
def sample_review(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The folder of the sample's files and that of its finished review with the wide copy: to be read, or copied.

    Several workers share one build: the first to ask makes it, the others wait for it.
    """
    from handling_review import review, starter
    from handling_review.program import read_program

    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    folder = shared / "sample-review"
    with FileLock(shared / "sample-review.lock"):
        if not (folder / "out").exists():
            program = read_program(starter.copy_sample(folder / "sample"))
            assert program.review.as_of is not None
            review.build(program, program.review.as_of, folder / "out", wide_copy=True)
    return folder / "sample", folder / "out"
