"""Does a review survive a build that is killed? ``python tests/bench/kill_builds.py`` writes KILLS.md beside itself.

A build of a small facility is killed with SIGKILL at a random moment, half of the time anywhere in its run and half of
the time between its last file and its end, where the review is moved in place. After each kill: every file against the
manifest, the database opened read-only, the notes beside the review, then a build that must succeed and clean up. After
that, every line of the code that moves a review is killed at once, and builds are stopped with SIGINT and SIGTERM.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from whole import killed_builds
from whole.killed_builds import Forked, Kill

RESULT = Path(__file__).with_name("KILLS.md")
LINE_BY_LINE = Path(__file__).parent.parent / "unit" / "killed_publish.py"


def campaign(place: Path, kills: int, seed: int) -> list[Kill]:
    """Kills in turn anywhere and near the exchange. Builds are forks of this process: loading code risks nothing."""
    dice = random.Random(seed)
    states = killed_builds.programs(place)
    out = place / "reviews" / "out"
    lengths = tuple(
        statistics.median(part)
        for part in zip(*(killed_builds.seconds_to_publish(states[0], out, Forked) for _ in range(3)), strict=True)
    )
    killed_builds.put_notes(out)
    found = []
    for number in range(kills):
        found.append(
            killed_builds.kill_once(states, out, dice, number % 2 == 1, (lengths[0], 1.1 * lengths[1]), Forked)
        )
        for fault in found[-1].faults:
            print(f"kill {number}: {fault}", file=sys.stderr, flush=True)
    return found


def stops(place: Path, number: signal.Signals, times: int, seed: int) -> dict[str, int]:
    """Builds that are asked to stop at random moments: how they ended, and faults."""
    dice = random.Random(seed)
    states = killed_builds.programs(place)
    out = place / "reviews" / "out"
    length = killed_builds.good_build(states[0], out)
    killed_builds.put_notes(out)
    seen = {"stopped": 0, "before it could listen": 0, "was done": 0, "other exit": 0, "faults": 0}
    for _ in range(times):
        process = killed_builds.start(states[1], out)
        time.sleep(dice.uniform(0, length))
        process.send_signal(number)
        _, said = process.communicate()
        if process.returncode == 128 + number and "stopped; the last finished review is whole." in said:
            seen["stopped"] += 1
        elif process.returncode == -number:
            seen["before it could listen"] += 1
        elif process.returncode == 0:
            seen["was done"] += 1
        else:
            seen["other exit"] += 1
            print(process.returncode, said, file=sys.stderr, flush=True)
        wrong = [*killed_builds.faults(out), *killed_builds.beside(out)]
        seen["faults"] += bool(wrong)
        for fault in wrong:
            print(f"{number.name}: {fault}", file=sys.stderr, flush=True)
    return seen


def line_by_line(way: str) -> tuple[int, int]:
    """Lines killed at, and faults. In memory where the system has such a place: each kill syncs a hundred times."""
    memory = Path("/dev/shm")
    place = tempfile.mkdtemp(prefix="kills-", dir=memory if memory.is_dir() else None)
    done = subprocess.run([sys.executable, str(LINE_BY_LINE), place, way], capture_output=True, text=True, check=True)
    shutil.rmtree(place)
    found = json.loads(done.stdout)
    for fault in found["faults"]:
        print(f"{way}: {fault}", file=sys.stderr, flush=True)
    return found["lines"], len(found["faults"])


def table(kills: list[Kill], seed: int) -> list[str]:
    lines = [
        f"# Builds that were killed\n\n`python tests/bench/kill_builds.py --kills {len(kills)} --seed {seed}`, "
        f"{platform.system()}, {os.cpu_count()} processors, Python {platform.python_version()}.\n",
        "| killed with SIGKILL | kills | of a running build | old review in place | new review in place | survived "
        "whole | notes kept, next build good, nothing left | seconds to the next good build, median (longest) |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, near in (("anywhere in the run", False), ("between the last file and the end", True)):
        own = [one for one in kills if one.near_exchange == near]
        whole = sum(not any(fault.startswith("right after") for fault in one.faults) for one in own)
        clean = sum(not one.faults for one in own)
        seconds = [one.next_build for one in own]
        lines.append(
            f"| {name} | {len(own)} | {sum(one.was_running for one in own)} | {sum(one.kept_old for one in own)} "
            f"| {sum(not one.kept_old for one in own)} | {whole} | {clean} "
            f"| {statistics.median(seconds):.1f} ({max(seconds):.1f}) |"
        )
    return lines


def main() -> int:
    """Run all of it and write the table; 1 if anything was lost."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--stops", type=int, default=20, help="of each kind, of a process of its own")
    asked.add_argument("--seed", type=int, default=1904)
    asked.add_argument("--result", type=Path, default=RESULT)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="kills-") as folder:
        place = Path(folder)
        kills = campaign(place / "kills", given.kills, given.seed)
        lines = table(kills, given.seed)
        bad = sum(bool(one.faults) for one in kills)
        lines += [
            "\n| asked to stop | times | stopped cleanly (130 or 143) | before the program listens | was done already "
            "| other exit | anything lost or left |",
            "|---|---|---|---|---|---|---|",
        ]
        for number in (signal.SIGINT, signal.SIGTERM):
            seen = stops(place / number.name, number, given.stops, given.seed)
            lines.append(
                f"| {number.name} | {given.stops} | " + " | ".join(str(count) for count in seen.values()) + " |"
            )
            bad += seen["faults"] + seen["other exit"]
        lines += [
            "\n| killed at every line of the code that moves a review in place | lines | faults |",
            "|---|---|---|",
        ]
        for way in ("exchange", "renames"):
            count, faults = line_by_line(way)
            told = (
                "two folders exchanged at once"
                if way == "exchange"
                else "two renames, where the system has no exchange"
            )
            lines.append(f"| {told} | {count} | {faults} |")
            bad += faults
    given.result.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
