"""The review as one HTML file that needs nothing but itself."""

from __future__ import annotations

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from handling_review import files
from handling_review.evidence.assemble import Review
from handling_review.evidence.numbers import Number
from handling_review.page import bundle, front, method, tables_data
from handling_review.page.findings import Part, parts
from handling_review.page.glyph import HEIGHT, WIDTH, Glyph
from handling_review.page.sentence import number_html
from handling_review.page.words import data as words_data


def render(review: Review) -> str:
    """The whole page. The same review gives the same bytes.

    Raises jinja2's ``UndefinedError`` if a template asks for something that is not there.
    """
    written = parts(review)
    by_id = {finding.id: finding for part in written for finding in part.findings}
    first, script, what_if = (files.read_text("reports", name) for name in ("first.js", "draw.js", "whatif.js"))
    return (
        environment()
        .get_template("review.html.j2")
        .render(
            review=review,
            scope=review.scope,
            caution=words_data.caution(review),
            front=front.front(review),
            parts=written,
            by_id=by_id,
            method=method,
            tables_data=tables_data,
            posted=words_data.reconciliation_sentence(review.reconciliation),
            joined=words_data.joined_units_sentence(review.scope.settings.get("unit_changes", ())).text,
            glyph_width=WIDTH,
            glyph_height=HEIGHT,
            style=Markup(files.read_text("reports", "review.css")),
            first_script=Markup(first),
            draw_script=Markup(script),
            what_if_script=Markup(what_if),
            policy=bundle.policy(first, script, what_if),
            plotly=Markup(bundle.plotly_bundle().packed),
            figure_json=_figure_json(written),
        )
    )


def environment() -> Environment:
    """The templates, every value escaped, with the tests and filters that the macros ask for."""
    templates = {name: files.read_text("reports", name) for name in files.names("reports", ".j2")}
    made = Environment(
        loader=DictLoader(templates),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.tests["number"] = lambda value: isinstance(value, Number)
    made.tests["glyph"] = lambda value: isinstance(value, Glyph)
    made.filters["number"] = number_html
    return made


def _figure_json(written: tuple[Part, ...]) -> dict[str, Markup]:
    """Each picture's JSON by id; it holds no <, > or &, so it is safe inside a script element."""
    return {one.id: Markup(one.json()) for part in written for finding in part.findings for one in finding.pictures}
