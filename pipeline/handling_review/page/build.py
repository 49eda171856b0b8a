"""The review as one HTML file that needs nothing but itself."""

from __future__ import annotations

from functools import cache

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from handling_review import files
from handling_review.evidence.assemble import Review
from handling_review.evidence.numbers import Number
from handling_review.page import bundle, front, restated, tables_data
from handling_review.page.findings import Part, parts
from handling_review.page.first_use import explain
from handling_review.page.glyph import HEIGHT, WIDTH, Glyph
from handling_review.page.sentence import number_html
from handling_review.page.words import data as words_data
from handling_review.page.words import glossary, method
from handling_review.visible import of_page


@cache
def template_environment() -> Environment:
    """The templates of ``reports/``, everything escaped, nothing undefined let by; each is compiled once."""
    templates = {name: files.read_text("reports", name) for name in files.names("reports", ".j2")}
    environment = Environment(
        loader=DictLoader(templates),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.tests["number"] = lambda value: isinstance(value, Number)
    environment.tests["glyph"] = lambda value: isinstance(value, Glyph)
    environment.filters["number"] = number_html
    return environment


def render(review: Review) -> str:
    """The whole page. The same review gives the same bytes.

    Raises jinja2's ``UndefinedError`` if a template asks for something that is not there.
    """
    environment = template_environment()
    written = parts(review)
    by_id = {finding.id: finding for part in written for finding in part.findings}
    first, *last = (files.read_text("reports", name) for name in ("first.js", "draw.js", "walk.js", "whatif.js"))
    terms = glossary.definitions(review)
    page = environment.get_template("review.html.j2").render(
        review=review,
        scope=review.scope,
        caution=words_data.caution(review),
        front=front.front(review),
        parts=written,
        by_id=by_id,
        method=method,
        terms=terms,
        tables_data=tables_data,
        restated=restated,
        posted=words_data.reconciliation_sentence(review.reconciliation),
        joined=words_data.joined_units_sentence(review.scope.settings.get("unit_changes", ())).text,
        glyph_width=WIDTH,
        glyph_height=HEIGHT,
        style=Markup(files.read_text("reports", "review.css")),
        first_script=Markup(first),
        last_scripts=tuple(Markup(script) for script in last),
        policy=bundle.policy(first, *last),
        plotly=Markup(bundle.plotly_bundle().packed),
        figure_json=_figure_json(written),
    )
    return of_page(explain(page, terms))


def _figure_json(written: tuple[Part, ...]) -> dict[str, Markup]:
    """Each picture's JSON by id; it holds no <, > or &, so it is safe inside a script element."""
    return {one.id: Markup(one.json()) for part in written for finding in part.findings for one in finding.pictures}
