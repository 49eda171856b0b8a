"""Result objects to sentences: one branch for each shape a result can have."""

from __future__ import annotations

from handling_review.evidence.contrast import (
    CANNOT_TELL,
    COUNTS_ONLY,
    FEW_CASES,
    HIGHER,
    LOWER,
    NO_DATA,
    Contrast,
)
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number
from handling_review.evidence.quarters import stretches
from handling_review.evidence.rates import RatesEvidence, Span
from handling_review.evidence.reference import ReferenceEvidence
from handling_review.evidence.units import UnitsEvidence
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say
from handling_review.visible import short

SERIES_NAME = {
    "handling": "handling injuries",
    "recordable": "all recordable injuries",
    "dart": "DART injuries",
    "days_away": "injuries with days away",
    "non_handling": "injuries not from handling",
    "first_aid": "first-aid cases",
}
SERIES_EACH = {**SERIES_NAME, "recordable": "recordable injuries"}  # after a number: not "10.7 all recordable"
SERIES_ONE = {
    "handling": "handling injury",
    "recordable": "recordable injury",
    "dart": "DART injury",
    "days_away": "injury with days away",
    "non_handling": "injury that is not from handling",
    "first_aid": "first-aid case",
}
WHO = "100 full-time staff a year"
_MOST_REASONS = 6  # reasons for quarters without a rate that are told in a sentence


def cases(rate: Rate) -> Sentence:
    """Cases and hours: "18 cases in 590,312 hours"."""
    return say(*counted(rate.events, "case", "cases"), " in ", rate.hours, " hours")


def upper(text: str) -> str:
    """The first letter as a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def rate_sentence(rate: Rate, when: str) -> Sentence:
    """One rate in a sentence, by shape: estimate, no case, too few cases, or withheld with its reason."""
    if rate.rate is None and rate.limit is None:
        return say(f"{upper(when)}: no rate is printed ({rate.withheld}).")
    if rate.events.value == 0 and rate.limit is not None:
        return say(
            f"{upper(when)}: no {SERIES_ONE[rate.series]} in ", rate.hours,
            " hours. The true rate could still be as high as ", rate.limit, f" per {WHO}.",
        )  # fmt: skip
    if rate.rate is None and rate.limit is not None:
        return say(
            f"{upper(when)}: ", *cases(rate).parts,
            ". That is too few for a rate; it could be as high as ", rate.limit, f" per {WHO}.",
        )  # fmt: skip
    assert rate.rate is not None
    assert rate.lower is not None
    assert rate.upper is not None
    return say(
        f"{upper(when)}: about ", rate.rate, f" {SERIES_EACH[rate.series]} per {WHO} (likely between ",
        rate.lower, " and ", rate.upper, "), from ", *cases(rate).parts, ".",
    )  # fmt: skip


def short_rate(rate: Rate) -> Sentence:
    """A rate inside another sentence: "11.1 (6 cases in 108,412 hours)"."""
    if rate.rate is None:
        return cases(rate)
    return say(rate.rate, " (", *cases(rate).parts, ")")


_SIDE = {LOWER: "a fall", HIGHER: "a rise"}
_COMPARED = {
    "same_quarter_last_year": "the same quarter a year before",
    "quarter_before": "the quarter before",
    "four_quarters_before": "the four quarters before those",
}


def comparison_sentence(item: Contrast) -> Sentence:
    """A period against an earlier one, by shape."""
    then = _COMPARED[item.name]
    if item.verdict == NO_DATA:
        return say(f"There are no hours to set against {then}.")
    if item.verdict == FEW_CASES and not (item.now.events.value or item.then.events.value):
        return say(f"There was none in {then} either (", item.then.hours, " hours).")
    if item.ratio is None or item.verdict == FEW_CASES:
        return say(
            f"In {then} there {'was' if item.then.events.value == 1 else 'were'} ", *cases(item.then).parts,
            ". With so few cases the two cannot be told apart, whichever way the rate moved."
            if item.direction == CANNOT_TELL
            else f". The whole likely range is {_SIDE[item.direction]}, but with so few cases the size of the change "
            f"is uncertain.",
        )  # fmt: skip
    times = (
        "The rate is ", item.ratio.value, " times the earlier one (likely between ",
        item.ratio.lower, " and ", item.ratio.upper, ").",
    )  # fmt: skip
    if item.verdict in (LOWER, HIGHER):
        return say(f"That is {item.verdict} than in {then}: ", *short_rate(item.then).parts, ". ", *times)
    return say(
        f"In {then} it was ", *short_rate(item.then).parts,
        ". A difference of this size could be chance. ", *times,
    )  # fmt: skip


def where_we_stand(rates: RatesEvidence, series: str) -> tuple[Sentence, ...]:
    """Latest complete quarter, last four quarters, each with what it is compared with."""
    if rates.latest is None:
        return (
            say(
                "No quarter is complete yet, so no rate can be printed. The table of the first finding shows counts "
                "and hours."
            ),
        )
    by_name = {item.name: item for item in rates.comparisons}
    found = []
    latest = rate_sentence(rates.latest.of(series), f"latest complete quarter, {rates.latest.quarter}")
    if rates.latest.is_provisional:
        latest = latest + say("This quarter is provisional: late entries may still add cases.")
    if "same_quarter_last_year" in by_name:
        latest = latest + comparison_sentence(by_name["same_quarter_last_year"])
    found.append(latest)
    if rates.recent is not None:
        recent = rate_sentence(rates.recent.of(series), f"last four quarters, to {rates.recent.quarter}")
        if "four_quarters_before" in by_name:
            recent = recent + comparison_sentence(by_name["four_quarters_before"])
        found.append(recent)
    return tuple(found)


def incomplete_sentence(rates: RatesEvidence) -> Sentence:
    """Which quarters have no rate and why; nothing when all are complete."""
    gaps = [span for span in rates.quarters if not span.is_complete]
    if not gaps:
        return NOTHING
    by_reason: dict[str, list[str]] = {}
    for span in gaps:
        by_reason.setdefault(span.reason or "incomplete", []).append(span.quarter)
    reasons = tuple(f"{listed(stretches(tuple(quarters)))} ({reason})" for reason, quarters in by_reason.items())
    more = f"; the table gives {len(reasons) - _MOST_REASONS} more reasons" if len(reasons) > _MOST_REASONS else ""
    return say(f"No rate is printed for {'; '.join(reasons[:_MOST_REASONS])}{more}.")


def rates_title(rates: RatesEvidence, series: str) -> Sentence:
    """The finding as a figure title: where the last four quarters stand against the four before."""
    name = upper(SERIES_NAME[series])
    if rates.latest is None:
        return say(f"{name}: no quarter is complete yet")
    year = next((c for c in rates.comparisons if c.name == "four_quarters_before"), None)
    shown = None if rates.recent is None else rates.recent.of(series).rate
    if shown is None:
        return say(f"{name} by quarter: not yet four complete quarters in a row")
    ending = (
        ""
        if year is None
        else {
            LOWER: ", lower than in the four before",
            HIGHER: ", higher than in the four before",
            CANNOT_TELL: "; no clear change from the four before",
            FEW_CASES: "; too few cases to see a change",
            NO_DATA: "",
            COUNTS_ONLY: "",
        }[year.verdict]
    )
    if not shown.value:
        return say(f"{name}: none in the last four quarters{ending}")
    return say(f"{name}: about ", shown, f" in the last four quarters{ending}")


def reference_sentence(reference: ReferenceEvidence, recent: Span | None) -> Sentence:
    """The facility's own rates beside the published ones; nothing when none fits."""
    if recent is None or not reference.rates:
        return NOTHING
    found = NOTHING
    for series in ("recordable", "dart", "days_away"):
        own, published = recent.of(series), reference.nearest(series)
        if own.rate is None or published is None:
            continue
        owner = published.ownership.replace("_", " ")
        found = found + say(
            f"For {SERIES_NAME[series]} the published rate of industry {published.naics} is ", published.rate,
            f" ({owner}, {published.year}). Here it is ", own.rate, ".",
        )  # fmt: skip
    return found


def units_sentence(units: UnitsEvidence) -> Sentence:
    """Which units stand out from the rest of the facility, or that none does."""
    looked = len(units.compared())
    if len(units.rows) == 1:
        return say(f"{units.rows[0].name} is the only unit, so there is no other to set it against.")
    if looked == 0:
        return say("No unit has enough cases to be set against the others.")
    found = units.standing_out()
    widened: tuple[str | Number, ...] = (
        ("with the range widened because ", units.units_compared, " units were looked at")
        if looked > 1
        else ("the only unit with enough cases to be looked at",)
    )
    if not found:
        return say("No unit stands out: each one with enough cases fits the rate of the others, ", *widened, ".")
    sentence = NOTHING
    for row in found:
        assert row.against_rest is not None
        sentence = sentence + say(
            f"{row.name} stands out as {row.stands_out}: its rate is ", row.against_rest.value,
            " times that of all other units together (", row.against_rest.lower, " to ",
            row.against_rest.upper, ", ", *widened, ").",
        )  # fmt: skip
    return sentence + say("Units differ in the people they care for, so this is a question, not a mark.")


def units_title(units: UnitsEvidence) -> Sentence:
    """The finding about units as a figure title."""
    if not units.compared():
        return say("Units: too few cases to set one against the others")
    out = units.standing_out()
    names = {word: tuple(short(r.name, 40) for r in out if r.stands_out == word) for word in (HIGHER, LOWER)}
    said = [f"{listed(found)} {word}" for word, found in names.items() if found]
    return say(f"Against all other units together: {', '.join(said)}" if said else "No unit stands out")
