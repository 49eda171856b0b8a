"""Files made to hurt, at full size: ``python tests/bench/hostile_inputs.py`` writes HOSTILE_INPUTS.md beside itself."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from whole.hostile import MB, PAYLOADS, attack

RESULT = Path(__file__).with_name("HOSTILE_INPUTS.md")
LIMIT_MB = 1024


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--mb", type=int, default=2047, help="size of each payload in MB (default 2047)")
    asked.add_argument("--print", action="store_true", help="do not write the summary")
    asked.add_argument("--only", default="", help="payloads whose name holds this")
    chosen = asked.parse_args()
    lines = [
        "# Files made to hurt", "", f"`python tests/bench/hostile_inputs.py --mb {chosen.mb}`: each payload is the "
        f"hours file of a small facility, met by `check` in a child; limit {LIMIT_MB} MB of memory.", "",
        "| payload | exit code | said | peak memory, MB | seconds |", "|---|---|---|---|---|",
    ]  # fmt: skip
    bad = 0
    for name in (one for one in PAYLOADS if chosen.only in one):
        with tempfile.TemporaryDirectory() as folder:
            met, code, words = attack(Path(folder), name, chosen.mb * MB)
        good = met.code == code and words in met.said and met.peak_mb < LIMIT_MB and "Traceback" not in met.said
        bad += not good
        said = met.said.strip().splitlines()[-1][:160].replace("|", "\\|") if met.said.strip() else ""
        lines.append(f"| {name} | {met.code} | {said} | {met.peak_mb:,.0f} | {met.seconds:.1f} |")
        print(lines[-1], "" if good else "  <- NOT AS IT SHOULD BE", flush=True)
    lines += ["", f"Not as they should be: {bad}.", ""]
    if not chosen.print:
        RESULT.write_text("\n".join(lines), encoding="utf-8", newline="\n")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
