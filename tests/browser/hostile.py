"""The sample facility with hostile texts in every place that takes text, as CSV files and a program file.

Each text tries something: markup, a formula, signs of direction, Plotly's own small HTML, a template, a very long word.
``SENTINEL`` is the name that any of them would set if it ran.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

from handling_review import files

SENTINEL = "ranFromTheData"
LONG = "W" * 300
HEBREW = "\u05d0\u05d1\u05d2 \u05d3\u05d4"
UNITS = {
    "Alder House": f"<script>window.{SENTINEL}=1</script>",
    "Birch House": f'"><img src=x onerror="window.{SENTINEL}=1">\'',
    "Cedar Short Stay": "=cmd|' /C calc'!A0",
    "Dogwood Memory Care": f"\u202eevil\u202c {HEBREW}",
    "Elm Skilled": LONG,
    "Fir Terrace": "{{7*7}} {% raw %} ${7*7}",
    "Therapy": "undefined",
}
NAMES = {
    "Alder House": f"</title></script><script>window.{SENTINEL}=1</script><!-- <b>bold</b>",
    "Birch House": f'<a href="javascript:window.{SENTINEL}=1">press</a><br>&lt;i&gt;&amp;',
    "Cedar Short Stay": "@SUM(1+1)*cmd|' /C calc'!A0",
    "Dogwood Memory Care": f"\u202eevil\u202c {HEBREW} \u2067x",
    "Elm Skilled": LONG,
    "Fir Terrace": "{{7*7}} {% raw %} $\\frac{1}{2}$ https://example.org/?q=<svg/onload=1>",
    "Therapy": "nan \U0001f469\u200d⚕️ Z" + "\u0321\u0341" * 20 + "a\u200b\x1b[31mred\x07",
}
TEXTS = (
    f"<svg/onload=window.{SENTINEL}=1> $x^2$ {HEBREW}",
    "+1+1",
    "-2+3",
    "\tleading tab",
    f"]]>--!><plaintext>{LONG[:180]}",
    "undefined",
    f"';window.{SENTINEL}=1;//",
)
HOURS_FILE = f"hours <img src=x onerror=window.{SENTINEL}=1> \u202e{{{{7*7}}}}.csv"
FACILITY = f"</script><script>window.{SENTINEL}=1</script> {HEBREW} $a$ {LONG[:120]}"
NOTE = f"=1+1 <b onmouseover=window.{SENTINEL}=1>note</b> \u202etxet\u202c \x1b]0;title\x07 {{{{7*7}}}}"
_UNIT_COLUMN = {"hours.csv": "Cost Center"}


def write(folder: Path) -> Path:
    """Write the facility into ``folder``; gives the program file."""
    folder.mkdir(parents=True)
    for name in files.names("sample_data", ".csv"):
        _rewritten(name, folder / (HOURS_FILE if name == "hours.csv" else name))
    text = files.read_text("sample_data", "program.toml")
    for old, new in UNITS.items():
        text = text.replace(f'= "{old}"', f"= {json.dumps(new)}")
    for old, new in (
        ('name = "Quillmere Care Campus"', f"name = {json.dumps(FACILITY)}"),
        ('note = "Made-up sample facility. No person, injury or hour in it is real."', f"note = {json.dumps(NOTE)}"),
        ('"hours.csv"', json.dumps(HOURS_FILE)),
        ('name = "Ceiling lifts, Dogwood"', f"name = {json.dumps(NAMES['Alder House'])}"),
        ('name = "Sit-to-stand lifts, Birch"', f"name = {json.dumps(LONG)}"),
        ('source = "made up"', f"source = {json.dumps(TEXTS[0])}"),
        ('owner = "Therapy lead of the made-up facility"', f"owner = {json.dumps(TEXTS[6])}"),
        ('owner = "Finance office of the made-up facility"', f"owner = {json.dumps(NAMES['Dogwood Memory Care'])}"),
    ):
        assert old in text, old
        text = text.replace(old, new)
    program = folder / "program.toml"
    program.write_text(text, encoding="utf-8")
    return program


def _rewritten(name: str, target: Path) -> None:
    text = files.read_bytes("sample_data", name).decode("utf-8", errors="replace")
    rows = list(csv.reader(text.splitlines()))
    head = rows[0]
    unit = next((at for at, title in enumerate(head) if title == _UNIT_COLUMN.get(name, "unit")), None)
    for number, row in enumerate(rows[1:]):
        if len(row) != len(head):
            continue
        code = row[unit] if unit is not None else ""
        if unit is not None:
            row[unit] = UNITS.get(code, code)
        for title, change in _CHANGES.get(name, {}).items():
            at = head.index(title)
            row[at] = change(number, row[at], code)
    with target.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(rows)


def _text(number: int, _old: str, _code: str) -> str:
    return TEXTS[number % len(TEXTS)]


def _now_and_then(number: int, old: str, _code: str) -> str:
    return TEXTS[number // 9 % len(TEXTS)] if number % 9 == 0 else old


_CHANGES = {
    "units.csv": {"name": lambda _number, _old, code: NAMES[code], "care_type": _text},
    "events.csv": {"what": _text},
    "incidents.csv": {"job_title": _text, "body_part": _now_and_then, "activity": _now_and_then},
    "equipment.csv": {"equipment": _now_and_then},
    "training.csv": {"course": lambda number, old, _code: TEXTS[0] if number % 50 == 1 else old},
    "reference_rates.csv": {"source": _text},
}
