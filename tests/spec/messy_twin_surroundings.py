"""The smaller files of the messy twin: units, posted totals, equipment, observations, exposure, the diary."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

from spec.messy_twin_base import UNIT_SPELLINGS, Row, Twin, lines, read_rows


def _us_text(text: str) -> str:
    return f"{date.fromisoformat(text):%m/%d/%Y}" if text else ""


def write_units(twin: Twin, rows: list[Row]) -> None:
    header = ["UNIT", "Name ", "care type", "Go live", "Comparison", "Opened On", "Closed_On", "Beds", "ALIASES"]
    body = []
    for row in rows:
        also = UNIT_SPELLINGS["Alder House"] if row["unit"] == "Alder House" else row["aliases"]
        tick = "X" if row["comparison"] == "yes" else "no"
        opened, closed = _us_text(row["opened_on"]), _us_text(row["closed_on"]) or "12/31/9999"
        go_live = _us_text(row["program_start"])
        body.append([row["unit"], row["name"], row["care_type"], go_live, tick, opened, closed, row["beds"], also])
    body.append(["Page 1 of 1", *[""] * 8])
    twin.plant("units", "footer line", 1)
    twin.write("units", lines([header, *body], ";", "\r\n"), "utf-8-sig")


def write_totals(twin: Twin, rows: list[Row]) -> None:
    body = [[*list(row.values())[:5], f"{int(row['hours']):,}"] for row in rows]
    twin.write("annual_totals", lines([list(rows[0]), *body], ",", "\n"), "utf-8")


MET = {"yes": ("Y", "TRUE", "1", "yes"), "no": ("N", "FALSE", "0", "no"), "not_applicable": ("N/A", "na")}


def write_surroundings(twin: Twin, clean: Path) -> None:
    """Equipment, observations, exposure and the diary."""
    rows = read_rows(clean / "equipment.csv")
    body = [[*list(row.values())[:4], f"${Decimal(row['unit_cost']):,.2f}"] for row in rows]
    body += [["Confidential"], [""] * 5]
    twin.write("equipment", lines([[name.title() for name in rows[0]], *body], "\t", "\r\n"), "utf-8-sig")
    rows = read_rows(clean / "observations.csv")
    body = [
        [
            *list(row.values())[:2],
            row["transfer_type"].replace("_", " ").title(),
            row["item"].upper(),
            _met(row, number),
        ]
        for number, row in enumerate(rows)
    ]
    header = ["OBSERVED ON", "UNIT", "TRANSFER-TYPE", "ITEM", "MET "]
    body[400:400] = [header, ["2024-01-01", "TEST", "Other", "BRAKES_SET", "Y"]]
    twin.write("observations", lines([header, *body], ";", "\n"), "utf-8")
    rows = read_rows(clean / "exposure.csv")
    body = [[*list(row.values())[:4], f"{int(row['quantity']):,}"] for row in rows]
    body += [["Total", "", "", "", "1"], [f"{len(rows)} records"]]
    twin.write("exposure", lines([list(rows[0]), *body], "|", "\r\n"), "utf-8")
    rows = read_rows(clean / "events.csv")
    body = [[row["date"], row["unit"], "\u00a0" + row["what"].replace(" ", "  ") + " "] for row in rows]
    twin.write("events", "Diary\n" + lines([list(rows[0]), *body], ",", "\n", quote=True) + "\n\n", "cp1252")
    for file, rules in (
        ("equipment", ("footer line", "blank line")), ("observations", ("repeated header", "test row")),
        ("exposure", ("totals row", "footer line")), ("events", ("blank line", "blank line")),
    ):  # fmt: skip
        for rule in rules:
            twin.plant(file, rule, 1)


def _met(row: Row, number: int) -> str:
    words = MET[row["met"]]
    return words[number % len(words)]
