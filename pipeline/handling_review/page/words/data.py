"""Sentences about training coverage, reporting, the data, and what could be done next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from handling_review.evidence.accounting import AccountingEvidence
from handling_review.evidence.actions import Candidate
from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import CANNOT_TELL
from handling_review.evidence.quarters import stretches
from handling_review.evidence.reconciliation import Reconciliation
from handling_review.evidence.reporting import ReportingEvidence
from handling_review.evidence.sensitivity import PANDEMIC
from handling_review.evidence.training import Coverage, TrainingEvidence
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say
from handling_review.page.words.rates import upper

# The log of a quarter counts as firm when this many days have passed since its end: OSHA logs are still
# being added to for weeks. Common practice, no source.
FIRM_AFTER_DAYS = 90
_MOSTLY = 0.5  # share of hours from which on "not known" is told before "trained"


def day(value: object) -> str:
    """A date as it stands in the review, year-month-day."""
    return str(value)[:10]


def coverage_sentence(training: TrainingEvidence) -> Sentence:
    """Trained share of worked hours in the latest complete quarter, and where it started."""
    if not training.latest:
        return say("No quarter is complete yet, so no share of hours can be given.")
    latest = training.of(training.latest)
    sentence = say(
        f"In {latest.label}, staff whose training was current worked ", latest.share("current"), " of the hours.",
    )  # fmt: skip
    if latest.share("lapsed").value:
        sentence = sentence + say("Staff whose training had lapsed worked ", latest.share("lapsed"), ".")
    sentence = sentence + say(
        "Staff not yet trained worked ", latest.share("before"), ", staff with no training on record ",
        latest.share("never"), ". For ", latest.share("unknown"), " of the hours the training of the staff is not "
        "known (such as agency staff without a number).",
    )  # fmt: skip
    if not training.match_is_enough and training.people_matched.value:
        sentence = sentence + say(
            "Only ", training.match_share, " of the people in the training file could be matched to the hours. So "
            "staff without a training row are counted as unknown, not as untrained.",
        )  # fmt: skip
    elif not training.match_is_enough:
        sentence = sentence + say(
            "None of the people in the training file could be matched to the hours, so it is not known whose hours "
            "are trained."
        )
    return sentence


def _is_mostly_unknown(latest: Coverage) -> bool:
    return (latest.share("unknown").value or 0) >= _MOSTLY


def coverage_in_short(training: TrainingEvidence) -> Sentence:
    """The trained share of hours in one line, for page one."""
    if not training.latest:
        return NOTHING
    latest = training.of(training.latest)
    if not latest.shares:
        return NOTHING
    if _is_mostly_unknown(latest):
        return say(
            "For ", latest.share("unknown"), f" of the hours in {latest.label} it is not known whether they were "
            "worked by trained staff.",
        )  # fmt: skip
    return say(
        "Staff with current training worked ", latest.share("current"), f" of the hours in {latest.label}.",
    )  # fmt: skip


def coverage_title(training: TrainingEvidence) -> Sentence:
    """Coverage as a title."""
    if not training.latest:
        return say("Training coverage: no quarter is complete yet")
    latest = training.of(training.latest)
    if _is_mostly_unknown(latest):
        return say("Training is not known for ", latest.share("unknown"), f" of the hours worked in {latest.label}")
    return say(latest.share("current"), f" of hours worked by staff with current training in {latest.label}")


def people_sentence(training: TrainingEvidence) -> Sentence:
    """People and completions behind the coverage."""
    start = say("The training file names ", *counted(training.people_in_training, "person", "people"), "; ")
    if training.people_matched.value:
        start = Sentence((*start.parts, training.people_matched, " (", training.match_share, ") also have hours."))
    else:
        start = Sentence((*start.parts, "none of them has hours by the numbers in the hours file."))
    if not training.qualifying_completions.value:
        start = start + say("None of its rows is a qualifying completion.")
    else:
        start = start + say(
            "It holds ", *counted(training.qualifying_completions, "qualifying completion", "qualifying completions"),
            ", of which ", *counted(training.first_completions, "is", "are"), " a person's first.",
        )  # fmt: skip
    never, unknown = training.people_never_trained, training.people_unknown
    if not (never.value or unknown.value):
        return start + (
            say("Everybody with hours has a qualifying training on record.") if training.people_matched.value
            else say("The hours name nobody, so who is trained cannot be followed from one file to the other.")
        )  # fmt: skip
    text = (*counted(never, "person has", "people have"), " hours and no qualifying training on record")
    return start + (say(*text, "; for ", unknown, " more it is not known.") if unknown.value else say(*text, "."))


def mix_sentence(reporting: ReportingEvidence) -> Sentence:
    """How the mix of cases moved between the last two whole years, and whether to look at reporting."""
    years = reporting.whole_years()
    if len(years) < 2:
        return say(
            "There are not yet two whole years to compare. Watch two things. One is first-aid cases: more of them is "
            "often better reporting. The other is the share of recordable cases that are DART cases."
        )
    then, now = years[-2], years[-1]
    sentence = say(
        f"In {now.year}: ", *counted(now.first_aid, "first-aid case", "first-aid cases"), " and ",
        *counted(now.recordable, "recordable case", "recordable cases"),
        f". In {then.year}: ", then.first_aid, " and ", then.recordable, ".",
    )  # fmt: skip
    if now.dart_share is None or then.dart_share is None:
        return sentence
    sentence = sentence + say(
        "DART cases were ", now.dart_share.value, " of the recordable cases, after ", then.dart_share.value, "."
    )
    if reporting.asks_a_look:
        return sentence + say(
            "Recordable cases became fewer for the hours worked while the DART share rose. That can be chance. It can "
            "also be small injuries no longer reported: ask."
        )
    return sentence + say("That gives no sign that small injuries are going unreported.")


def mix_title(reporting: ReportingEvidence) -> Sentence:
    """The DART share of the last whole year as a title."""
    years = [year for year in reporting.whole_years() if year.dart_share is not None]
    if not years or years[-1].dart_share is None:
        return say("DART cases as a share of recordable cases, by year")
    return say(years[-1].dart_share.value, f" of recordable cases in {years[-1].year} were DART cases")


def quality_sentence(accounting: AccountingEvidence) -> Sentence:
    """How many findings there are, by what they ask for."""
    look, note = accounting.finding_count("look"), accounting.finding_count("note")
    blocks = accounting.finding_count("blocks")
    if not (look.value or note.value or blocks.value):
        return say("The checks found nothing to put right.")
    noted = say(*counted(note, "is", "are"), " only noted") if note.value else NOTHING
    if look.value:
        sentence = say("The checks found ", *counted(look, "thing", "things"), " to look at")
        sentence = Sentence((*sentence.parts, *(("; ", *noted.parts) if note.value else ()), "."))
    else:
        sentence = Sentence(("The checks found nothing to look at", *(("; ", *noted.parts) if note.value else ()), "."))
    sentence = sentence + say("The list names the file and line, never a person.")
    if blocks.value:
        stop = counted(blocks, "finding stops", "findings stop")
        return say(*stop, " part of the review until put right.") + sentence
    return sentence


def accounting_sentence(accounting: AccountingEvidence) -> Sentence:
    """Rows in and rows used, and whether they balance."""
    sentence = say(
        "Of ", accounting.rows_in, " rows read, ", accounting.rows_used, " went into the review and ",
        accounting.rows_not_used, " did not, each by a stated rule.",
    )  # fmt: skip
    if accounting.balances:
        return sentence + say("For every file, rows used, set aside and excluded add up to the rows read.")
    off = listed(tuple(row.file for row in accounting.files if not row.balances))
    return sentence + say(f"The rows of {off} do not add up; the review of that file cannot be relied on.")


_FIGURES = {
    "deaths": "deaths",
    "days_away_cases": "cases with days away",
    "restricted_cases": "cases with restriction or transfer",
    "other_cases": "other recordable cases",
    "hours": "hours worked",
}


def figure_name(name: str) -> str:
    """A figure of the posted summary in words."""
    return _FIGURES[name]


def reconciliation_sentence(posted: Reconciliation) -> Sentence:
    """Whether the review and the posted annual summaries agree, and where they do not."""
    if not posted.is_given:
        return NOTHING
    sentence = NOTHING
    if posted.agreeing:
        years = listed(tuple(str(year) for year in posted.agreeing))
        sentence = say(f"For {years} the review agrees with the posted summary in every figure.")
    for figure in posted.differing:
        sentence = sentence + say(
            f"For {figure.year} {'it differs' if posted.agreeing else 'the review differs from the posted summary'}. ",
            f"{upper(_FIGURES[figure.figure])}: posted ", figure.posted, ", in the review ", figure.in_review,
            " (difference ", figure.gap, ").",
        )  # fmt: skip
        if figure.set_aside.value:
            one = "case of that kind and year stands in a row that could not be used."
            many = "cases of that kind and year stand in rows that could not be used."
            sentence = sentence + say(*counted(figure.set_aside, one, many))
    if posted.part_years:
        years = listed(tuple(str(year) for year in posted.part_years))
        sentence = sentence + say(f"The review does not cover all of {years}, so that summary cannot be compared.")
    return sentence


def joined_units_sentence(changes: Sequence[Mapping[str, Any]]) -> Sentence:
    """Units that a rename, merge or split joins, as settings hold them (on, old, new)."""
    said = NOTHING
    for change in changes:
        names = listed(tuple(dict.fromkeys((*change["old"], *change["new"]))), 12)
        said = said + say(
            f"{names} count as one unit throughout, because of the change on {change['on']}, "
            "so that rates before it and after it cover the same part of the facility."
        )
    return said


_CANDIDATES = {
    "get_missing": "Get the missing hours for {units}, so that the rate can be printed.",
    "walk_through": "Walk through {units} with the people who work there: the rate is higher than elsewhere.",
    "ask_where_it_rises": "Ask the people of {units} now what has changed: more injuries than before.",
    "name_courses": "State in the program file which courses are training in safe handling: no row of the training "
    "file counts.",
    "schedule_training": "Schedule training on {units}: staff with current training work less than half of "
    "the hours there.",
    "check_reporting": "Ask staff whether small injuries are still being reported.",
    "keep_measuring": "Keep the exports coming each quarter; no change of course follows from these numbers.",
}


def candidate_sentence(candidate: Candidate) -> Sentence:
    """One candidate for action."""
    kind, figures = candidate.kind, candidate.numbers
    if kind == "put_right":
        return say(
            "Put right the ", *counted(figures[0], "finding that blocks", "findings that block"), " part of the review."
        )
    if kind == "look_before_extending":
        sides = (
            ("with the program", "without it") if candidate.finding == "did-it-work" else ("after training", "before")
        )
        return say(
            f"Look for what else changed before the program goes further: the rate {sides[0]} is ",
            figures[0], f" times the rate {sides[1]}.",
        )  # fmt: skip
    if kind == "settle_unclassified":
        total = int(figures[0].value or 0) + int(figures[1].value or 0)
        noun = "the one recordable case" if total == 1 else "the recordable cases"
        return say(
            f"Settle {noun} for which the log does not say whether handling was the cause (", figures[0],
            " before training, ", figures[1], " after).",
        )  # fmt: skip
    if kind == "use_equipment":
        return say(
            "Ask why equipment that suits the task stood unused on the unit in ", figures[0], " of ", figures[1],
            " handling injuries.",
        )  # fmt: skip
    if kind == "schedule_refreshers":
        return say("Schedule refreshers: lapsed training stands behind ", figures[0], " of the hours worked.")
    if kind == "review_findings":
        if figures[0].value == 1:
            return say("Look at what the checks found in the data (", figures[0], " thing) before the next review.")
        return say("Go through the ", figures[0], " things to look at in the data before the next review.")
    names = stretches(candidate.units) if kind == "get_missing" else candidate.units
    return say(_CANDIDATES[kind].format(units=listed(names)))


def pandemic_sentence(review: Review) -> Sentence:
    """A caution where a quarter of the review lies in the years 2020 to 2022."""
    touched = [span.quarter for span in review.rates.quarters if span.end >= PANDEMIC[0] and span.start <= PANDEMIC[1]]
    if not touched:
        return NOTHING
    ends = touched[0] if len(touched) == 1 else f"{touched[0]} to {touched[-1]}"
    return say(
        f"{ends}: illness and staffing were out of the ordinary in 2020 to 2022. So rates of these quarters are no "
        "fair measure of others. The finding “The same question asked in other ways” shows the answer without them."
    )


def cannot_tell_yet(review: Review) -> tuple[Sentence, ...]:
    """What the review cannot say yet, and when it will."""
    found = []
    for span in review.rates.quarters:
        if span.is_provisional:
            firm = span.end + timedelta(days=FIRM_AFTER_DAYS)
            found.append(
                say(f"{span.quarter} is provisional: late entries may add cases. It is firm from {day(firm)}.")
            )
    found += nothing_or(pandemic_sentence(review))
    gaps = [span.quarter for span in review.rates.quarters if not span.is_complete]
    if gaps:
        found.append(say(f"{listed(stretches(gaps))}: no rate until the missing days are in."))
    lead = review.answer.ladder.lead
    if lead.ratio is None:
        found.append(say(f"Whether the program changed the rate: {lead.reason}."))
    elif lead.verdict == CANNOT_TELL or lead.few:
        found.append(say("Whether the program changed the rate: the numbers of cases are still too small."))
    few = tuple(row.name for row in review.units.rows if row.overall.reliability == "few")
    if few:
        found.append(say(f"Too few cases for a rate of its own: {listed(few)}."))
    found.append(say("Whether the program is the reason for any change: no comparison of this kind can prove that."))
    return tuple(found)


def caution(review: Review) -> Sentence:
    """The one line of caution in the masthead."""
    return say(
        "These are recorded injuries, not all injuries. A difference between before and after is not proof of cause."
    )


def nothing_or(sentence: Sentence) -> tuple[Sentence, ...]:
    """The sentence as a tuple, empty when there is nothing to say."""
    return () if sentence == NOTHING else (sentence,)
