"""Where the time of one build goes: processor and wall seconds of each stage, as JSON.

    python tests/bench/profile_build.py FOLDER AS_OF

Stages are those that a build tells whoever waits. Loading Python's modules before the first of them is "starting".
"""

from __future__ import annotations

import json
import sys
import tempfile
import time

BEGUN = time.perf_counter(), time.process_time()

from datetime import date  # noqa: E402
from pathlib import Path  # noqa: E402

from handling_review import lean  # noqa: E402

lean.settle()  # as the command line does

from handling_review.program import read_program  # noqa: E402
from handling_review.review import build  # noqa: E402

GROUPS = {"looking": "hashing the files", "reading": "reading", "taking": "taking over", "counting": "counting",
          "keeping": "keeping rows, judging beside it", "judging": "keeping rows, judging beside it"}  # fmt: skip


def main() -> None:
    """Build the review of a folder and print what its stages cost."""
    folder, as_of = Path(sys.argv[1]), date.fromisoformat(sys.argv[2])
    spent: dict[str, list[float]] = {}
    now = ["starting", *BEGUN]

    def turn(stage: str, _rows: int = 0) -> None:
        name = GROUPS.get(stage.split()[0], stage) if stage else ""
        if name == now[0]:
            return
        wall, processor = time.perf_counter(), time.process_time()
        one = spent.setdefault(str(now[0]), [0.0, 0.0])
        one[0] += processor - float(now[2])
        one[1] += wall - float(now[1])
        now[:] = [name, wall, processor]

    with tempfile.TemporaryDirectory(dir=folder) as out:
        build(read_program(folder / "program.toml"), as_of, Path(out) / "review", turn)
        turn("")
    print(json.dumps({stage: [round(seconds, 3) for seconds in both] for stage, both in spent.items()}))


if __name__ == "__main__":
    main()
