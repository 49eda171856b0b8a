"""Killed with SIGKILL at every line of the code that moves a review in place: nothing is lost, nothing is left."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from unit import killed_publish


@pytest.mark.parametrize("way", ["exchange", "renames"])
def test_a_kill_at_any_line_loses_nothing(way: str) -> None:
    memory = Path("/dev/shm")  # each kill syncs a hundred times; order of syncs is another test
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as place:
        done = subprocess.run(
            [sys.executable, killed_publish.__file__, place, way], capture_output=True, text=True, check=True
        )
    found = json.loads(done.stdout)
    assert found["faults"] == []
    assert found["lines"] > 200
