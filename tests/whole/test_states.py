"""Every empty and extreme state through the command line: a page that is true, complete and free of debris."""

from __future__ import annotations

import html
import re
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from handling_review.cli import main
from whole import states

REFUSED = {
    "log_without_rows": "No rows is not the same as no injuries",
    "training_without_rows": "No rows is not the same as no training",
}
FIVE = (
    "Where we stand",
    "Did it change with training?",
    "What stands out",
    "What to decide: candidates for action",
    "What we cannot tell yet",
    "What changed since the last review",
)
# Texts that only a program writes, and counts or shares of nothing.
DEBRIS = re.compile(
    r"\b(?:nan|NaN|inf|NaT|null|True|False|undefined)\b|(?<!\. )(?<!\| )\bNone\b|\{\w*\}|\(\)|\.\."
    r"|\b0 of 0\b|\b0 cases in 0 hours\b|\bfrom (\S+) to \1\b|\bwere 1 "
    r"|(?<![\d.,])1 (?:cases|people|pairs|units|things)\b"
)
MOST_BYTES = 8_000_000
MOST_SECONDS = 60  # of one core, for the largest state


def built(name: str, folder: Path) -> str:
    """The page of one state as HTML."""
    program = states.write(states.STATES[name], folder)
    began = time.process_time()
    assert main(["build", str(program), "--out", str(folder / "out")]) == 0
    assert time.process_time() - began < MOST_SECONDS
    found = folder / "out" / "program-review.html"
    assert found.stat().st_size < MOST_BYTES
    return found.read_text(encoding="utf-8")


def text_of(part: str) -> str:
    """What a reader sees of a piece of the page."""
    bare = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", part, flags=re.S)
    return " ".join(html.unescape(re.sub(r"</?(?:data|span|strong|a)\b[^>]*>", "", bare)).split())


def words_of(part: str) -> str:
    return re.sub(r"<[^>]+>", " | ", text_of(part))


def front_of(page: str) -> str:
    return page.split('<div class="page-one">')[1].split('<nav class="contents"')[0]


def finding_of(page: str, name: str) -> str:
    return page.split(f'<section class="finding" id="{name}"')[1].split("</section>")[0]


def sentences_of(part: str) -> list[str]:
    return [text_of(one) for one in re.findall(r'<p class="says">(.*?)</p>', part, re.S)]


@pytest.mark.parametrize("name", REFUSED)
def test_an_empty_file_is_refused_in_one_sentence(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = states.write(states.STATES[name], tmp_path)
    assert main(["build", str(program), "--out", str(tmp_path / "out")]) == 4
    said = capsys.readouterr().err
    assert REFUSED[name] in said
    assert said.count("\n") == 1
    assert not (tmp_path / "out").exists()


def in_general(page: str) -> None:
    """What holds in every state."""
    front = front_of(page)
    assert re.findall(r"<h2 [^>]*>(.*?)</h2>", front) == list(FIVE)
    for section in re.split(r"<section ", front)[1:]:
        assert re.search(r'<p class="says">|<li>', section), "a heading over nothing"
    assert sentences_of(front)
    assert len(set(sentences_of(front))) == len(sentences_of(front)), "a sentence said twice on page one"
    findings = re.findall(r'<section class="finding" id="([\w-]+)"', page)
    assert len(findings) == 23
    for finding in findings:
        part = finding_of(page, finding)
        assert sentences_of(part), finding
        assert len(set(sentences_of(part))) == len(sentences_of(part)), finding
        if "<details>" in part:
            fold = part.split("<details>")[1]
            assert re.search(r"</summary>\s*<(p|div)", fold), f"{finding}: a fold over nothing"
    for table in re.findall(r"<table.*?</table>", page, re.S):
        assert "<tr" in table.split("<tbody>")[1], text_of(table)
    assert re.search(r"<td[^>]*>\s*(None|nan|True|False)\s*</td>", page) is None
    body = words_of(page.split("<body>")[1])
    found = DEBRIS.search(body)
    assert found is None, body[max(0, found.start() - 80) : found.end() + 40] if found else ""


def no_case(page: str) -> None:
    front = words_of(front_of(page))
    assert "could still be as high as" in front
    assert "There was none in the four quarters before those either" in front
    assert "there is no case on either side" in front
    for claim in ("face value", "would have been expected", "falling by about"):
        assert claim not in front, "a promise without a case"
    assert "none in the last four quarters" in text_of(finding_of(page, "rates"))
    assert "<figure" not in finding_of(page, "before-after"), "a picture of ratios without a ratio"
    assert "cannot be said" in sentences_of(finding_of(page, "worth"))[0]


def no_course_counts(page: str) -> None:
    told(page, "No row of the training file counts as training in safe handling")
    front = words_of(front_of(page))
    assert "State in the program file which courses are training in safe handling" in front
    assert "Schedule training on" not in front, "first the courses, then classes"


def one_case(page: str) -> None:
    assert "could still be as high as" in words_of(front_of(page))


def harmful(page: str) -> None:
    front = words_of(front_of(page))
    assert "The rate of handling injuries was higher with the program than without it" in front
    assert "Look for what else changed before the program goes further" in front
    assert "Below zero means more cases than expected, not fewer" in front
    assert "a chance of under 1%" in front
    assert "a loss" in text_of(finding_of(page, "worth"))


def one_unit(page: str) -> None:
    assert "set against the others" not in words_of(front_of(page))
    units = finding_of(page, "units")
    assert sentences_of(units) == ["Alder is the only unit, so there is no other to set it against."]
    assert "<figure" not in units
    assert "<select" not in finding_of(page, "signals")


def one_quarter(page: str) -> None:
    assert "In 2025-Q4 there were" in text_of(finding_of(page, "tasks"))
    assert "0.0 years after" not in words_of(page)
    for finding in ("rates", "kinds", "coverage", "leading", "around-start", "late"):
        assert "<figure" not in finding_of(page, finding), f"{finding}: a picture over time of one quarter"
    assert "not yet two whole years" in text_of(finding_of(page, "reporting"))


def sixty_units(page: str) -> None:
    assert len(set(re.findall(r"\w+ ward \d\d", words_of(front_of(page))))) <= 12
    for finding in ("units", "signals"):
        seen, fold = finding_of(page, finding).split("<details>")
        assert all(len(re.findall("<tr", table)) < 30 for table in re.findall(r"<table.*?</table>", seen, re.S))
        assert len(re.findall("<tr", fold)) > 60
        assert "Under “How we know, and more tables”" in text_of(seen)


def ten_years(page: str) -> None:
    for finding in ("rates", "signals", "coverage", "leading", "late", "people", "around-start"):
        seen, fold = finding_of(page, finding).split("<details>")
        assert "2016-Q1" not in re.sub(r'<p class="(says|about)".*?</p>', "", seen, flags=re.S), finding
        assert "2016-Q1" in fold, finding


def nothing_complete(page: str) -> None:
    front = front_of(page)
    assert "<table" not in front
    assert "Get the missing hours for 2023-Q1 to 2025-Q4" in words_of(front)
    assert "2023-Q1 to 2025-Q4: no rate until the missing days are in" in words_of(front)
    rates = finding_of(page, "rates")
    assert "No rate is printed for 2023-Q1 to 2025-Q4 (hours missing in 4 units)." in sentences_of(rates)
    assert "<figure" not in rates
    assert "15,360" in rates
    told(page, "Only complete quarters are compared, and no quarter is complete.")


def told(page: str, why: str) -> None:
    """Why there is no answer stands on page one and where it is asked whether it worked."""
    assert why in words_of(front_of(page))
    assert why in text_of(finding_of(page, "did-it-work"))


def unit_totals_only(page: str) -> None:
    assert "For 100% of the hours in 2025-Q4 it is not known" in words_of(front_of(page))
    assert "Schedule training on" not in words_of(front_of(page)), "for all that is known everybody is trained"
    assert "None of the people in the training file could be matched" in text_of(finding_of(page, "coverage"))
    assert "cannot be followed from one file to the other" in text_of(finding_of(page, "people"))


def no_money(page: str) -> None:
    assert "To see money here, state under [money]" in text_of(finding_of(page, "worth"))
    assert "No purchase is proposed" in text_of(finding_of(page, "proposals"))


def all_money(page: str) -> None:
    assert "What if?" in text_of(finding_of(page, "proposals"))
    assert "The program cost USD" in text_of(finding_of(page, "worth"))


IN_PARTICULAR: dict[str, Callable[[str], None]] = {
    "first_aid_only": no_case,
    "one_case": one_case,
    "harmful": harmful,
    "one_unit": one_unit,
    "one_quarter": one_quarter,
    "sixty_units": sixty_units,
    "ten_years": ten_years,
    "nothing_complete": nothing_complete,
    "no_course_counts": no_course_counts,
    "comparison_only": lambda page: told(page, "Every unit is marked as a comparison unit"),
    "unit_totals_only": unit_totals_only,
    "tiny": no_money,
    "money_stated": all_money,
}


@pytest.mark.parametrize("name", [name for name in states.STATES if name not in REFUSED])
def test_a_page_in_every_state(name: str, tmp_path: Path) -> None:
    page = built(name, tmp_path)
    in_general(page)
    IN_PARTICULAR.get(name, in_general)(page)
