"""The page as a whole: well formed, self-contained, traceable, private, the same on every run."""

from __future__ import annotations

import re
from collections import Counter
from html.parser import HTMLParser
from typing import Any

import pytest

from handling_review.evidence.assemble import assemble
from handling_review.page.build import render
from handling_review.page.bundle import plotly_bundle, script_hash
from handling_review.page.words.method import CAUTIONS
from spec import made_up_tables as made_up
from spec.made_up_pages import page_of

VOID = {"meta", "br", "hr", "img", "input", "link", "col", "area", "base", "wbr", "source", "track", "embed"}


def page(**options: Any) -> str:
    return page_of(made_up.review(**options))


class Reader(HTMLParser):
    """Reads a page strictly: every element closed in order; keeps tags, attributes and text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.keyed: list[tuple[str, str]] = []
        self.headings: list[int] = []
        self.text: list[str] = []
        self.prose: list[str] = []
        self._key: str | None = None
        self._says = 0
        self.feed(text)
        self.close()
        assert self.open == [], f"never closed: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.tags.append((tag, values))
        if tag in VOID:
            return
        self.open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if "data-key" in values:
            self._key = values["data-key"] or ""
        if tag == "p" and values.get("class") == "says":
            self._says = len(self.open)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        if self._says == len(self.open):
            self._says = 0
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] in ("script", "style"):
            return
        self.text.append(data)
        if self._key is not None:
            self.keyed.append((self._key, data))
            self._key = None
        elif self._says:
            self.prose.append(data)


@pytest.fixture(scope="module")
def read() -> Reader:
    return Reader(page())


def test_every_element_is_closed_in_order(read: Reader) -> None:
    assert len(read.tags) > 1000


def test_ids_are_unique_and_every_reference_meets_one(read: Reader) -> None:
    ids = Counter(values["id"] for _, values in read.tags if values.get("id"))
    assert [name for name, times in ids.items() if times > 1] == []
    for _, values in read.tags:
        for attribute in ("aria-labelledby", "aria-describedby"):
            for name in (values.get(attribute) or "").split():
                assert name in ids, name
        target = values.get("href") or ""
        if target.startswith("#"):
            assert target[1:] in ids, target


def test_the_page_loads_nothing_and_links_to_nothing_outside(read: Reader) -> None:
    for tag, values in read.tags:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base"), tag
        assert "src" not in values
        assert (values.get("href") or "#").startswith("#")
    without_bundle = page().replace(plotly_bundle().packed, "")
    assert re.findall(r"https?://|@import|url\(", without_bundle) == []


def test_the_policy_runs_these_scripts_and_loads_nothing() -> None:
    text = page()
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text)
    assert policy is not None
    content = policy.group(1).replace("&#39;", "'")
    assert content.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe-eval" not in content
    for script in re.findall(r"<script>(.*?)</script>", text, flags=re.DOTALL):
        assert script_hash(script) in content


def test_headings_go_down_one_step_at_a_time(read: Reader) -> None:
    assert read.headings[0] == 1
    assert read.headings.count(1) == 1
    for earlier, later in zip(read.headings, read.headings[1:], strict=False):
        assert later <= earlier + 1


def test_tables_have_captions_and_scoped_headers() -> None:
    text = page()
    tables = re.findall(r"<table>(.*?)</table>", text, flags=re.DOTALL)
    assert len(tables) > 15
    for table in tables:
        assert "<caption>" in table
        assert not re.search(r"<th(?![^>]*scope=)[\s>]", table)
        columns = len(re.findall(r'<th scope="col"', table))
        for row in re.findall(r"<tr>(.*?)</tr>", table.split("<tbody>")[1], flags=re.DOTALL):
            assert len(re.findall(r"<t[hd][\s>]", row)) == columns


def test_every_picture_has_a_name_a_description_and_a_table(read: Reader) -> None:
    figures = [values for tag, values in read.tags if tag == "figure"]
    plots = [values for _, values in read.tags if values.get("class") == "plot"]
    assert len(figures) == len(plots) == 18
    for values in (*figures, *plots):
        assert values["aria-labelledby"]
        assert values["aria-describedby"]
    for section in re.findall(r'<section class="finding" .*?</section>', page(), flags=re.DOTALL):
        assert "<table" in section


def test_language_title_and_skip_link(read: Reader) -> None:
    assert ("html", {"lang": "en"}) in read.tags
    assert "<title>Safe-handling program review: Made-up Care Home, 2023-01-01 to 2026-06-30</title>" in page()
    first = next(values for tag, values in read.tags if tag == "a")
    assert first == {"class": "skip", "href": "#main"}


def test_every_number_on_the_page_is_the_published_one(read: Reader) -> None:
    published = {number.key: number.shown for number in made_up.review().numbers}
    assert len(read.keyed) > 500
    for key, shown in read.keyed:
        assert published[key] == shown, key


def test_no_number_in_a_finding_is_typed_by_hand(read: Reader) -> None:
    # What is left outside keyed numbers: quarters, years, names of units (3 East), the base of a rate, the percentage
    # of a national fall, the industry code, and figures of a rule (bands of a technique, 35 lb, 180 days, one week, the
    # base of a rate per transfers, limits that chance crosses once in 500 units).
    prose = " ".join(read.prose)
    units = r"\b[123] (North|South|East|West)"
    for allowed in (
        r"\d{4}-Q\d",
        r"\d{4}-\d\d-\d\d",
        "in the last 60 days",
        r"\b\d{4}\b",
        units,
        r"per 100 full-time",
        r"[Pp]er 200,000 hours",
        "3 to 4%",
        r"industry \d+",
        "first 3 months|3 to 12 months|1 to 2 years|2 years and more",  # names of groups
        r"\d\d:00 to \d\d:59",
        "51 to 74%",
        "35 lb",
        "180 days",
        "longer than 7 days",
        "10,000 transfers",
        "once in 500 units",
    ):
        prose = re.sub(allowed, "", prose)
    prose = re.sub(r"below 1\b|above 1\b", "", prose)
    assert re.findall(r"[^.]{0,30}\d[^.]{0,30}", prose) == []


def test_the_same_review_gives_the_same_bytes() -> None:
    program = made_up.program()
    again = assemble(made_up.tables(), made_up.scope(program), program)
    assert render(again) == page()


def test_text_from_the_data_is_escaped() -> None:
    frames = made_up.frames()
    frames["units"].loc[0, "name"] = "<b>North</b>"
    frames["events_diary"].loc[0, "what"] = '"><script>alert(1)</script>'
    frames["accounting"].loc[1, "meaning"] = "<img src=x onerror=alert(1)>"
    program = made_up.program()
    scope = made_up.scope(program, facility_name="Home <i>& Garden</i>")
    text = render(assemble(made_up.ResultTables.from_dict(frames), scope, program))
    Reader(text)
    assert "<script>alert(1)" not in text
    assert "<img" not in text
    assert "<b>North" not in text
    assert "Home &lt;i&gt;&amp; Garden&lt;/i&gt;" in text


def test_values_found_in_the_data_are_not_repeated() -> None:
    frames = made_up.frames()
    frames["findings"] = frames["findings"].assign(found="PERSON-004217", message="found PERSON-004217")
    program = made_up.program()
    text = render(assemble(made_up.ResultTables.from_dict(frames), made_up.scope(program), program))
    assert "004217" not in text


def test_all_usual_cautions_are_printed(read: Reader) -> None:
    text = "".join(read.text)
    assert len(CAUTIONS) == 9
    for caution in CAUTIONS:
        assert caution.text in text


def test_the_three_readers_have_their_part_and_the_findings_are_numbered_through() -> None:
    text = page()
    for name in ("committee", "administrator", "nurse", "method"):
        assert f'<section class="part" id="{name}"' in text
    assert re.findall(r'<span class="number">(\d+)</span>', text) == [str(n) for n in range(1, 24)]


def test_masthead_states_what_was_assumed() -> None:
    text = page()
    assert "<dt>Hours complete through</dt><dd>2026-06-30 (assumed)</dd>" in text
    assert "<dt>Log complete through</dt><dd>2026-06-30</dd>" in text


@pytest.mark.parametrize(
    "options",
    [
        {"ratio": 2.5},
        {"ratio": 0.05, "seed": 3},
        {"missing": {"2025-Q3": "hours of 3E stop on 2025-08-16"}},
        {"missing": dict.fromkeys(made_up.QUARTERS, "hours missing")},
    ],
)
def test_the_page_holds_up_in_every_shape(options: dict[str, Any]) -> None:
    read = Reader(page(**options))
    published = {number.key: number.shown for number in made_up.review(**options).numbers}
    assert all(published[key] == shown for key, shown in read.keyed)


@pytest.mark.parametrize("options", [{}, {"ratio": 2.5}])
def test_words_that_claim_too_much_are_never_printed(options: dict[str, Any]) -> None:
    text = "".join(Reader(page(**options)).text).lower()
    for word in ("significan", "training caused", "95% chance", "95 % chance", "zero injuries", "proves"):
        assert word not in text


def test_no_empty_section_and_no_promise(read: Reader) -> None:
    text = "".join(read.text).lower()
    for word in ("coming soon", "not yet available", "todo", "placeholder", "later version"):
        assert word not in text
    assert not re.search(r"<(section|details|td|p)[^>]*>\s*</(section|details|p)>", page())
