"""What every test may import: the made-up hand facility beside the tests; and what many tests read: a sample review."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from handling_review import lean

lean.settle()  # as every command does, here too before numpy is loaded

sys.path.insert(0, str(Path(__file__).parent))

# A process that is killed loses nothing that it has written; waiting for the disk guards against a power cut alone.
# Builds in processes of their own do wait, and the order of waits has a test of its own (tests/unit/test_publish.py).
os.fsync = lambda _: None


@pytest.fixture(scope="session")
def sample_review(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The folder of the sample's files and that of its finished review with the wide copy: to be read, or copied."""
    from handling_review import review, starter
    from handling_review.program import read_program

    folder = tmp_path_factory.mktemp("sample-review")
    program = read_program(starter.copy_sample(folder / "sample"))
    assert program.review.as_of is not None
    return folder / "sample", review.build(program, program.review.as_of, folder / "out", wide_copy=True).page.parent
