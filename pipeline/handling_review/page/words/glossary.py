"""The terms of the review and its abbreviations: one list, from which the page explains each at its first use."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence.assemble import Review
from handling_review.evidence.stated import RULES, settings
from handling_review.page.sentence import Sentence, listed, say


@dataclass(frozen=True)
class Definition:
    """A term and what it means here.

    ``used_as``: how it stands in prose, each form as it is written (upper and lower first letters count as one); the
    first of them on the page leads here. ``spelled_out``: what an abbreviation stands for, printed at its first use.
    """

    id: str
    term: str
    meaning: Sentence
    used_as: tuple[str, ...]
    spelled_out: str = ""


def definitions(review: Review) -> tuple[Definition, ...]:
    """The terms of the review, with the settings that shape them."""
    return (*counting(review), *_comparing(review), *_watching(), *_money(), *_letters())


def counting(review: Review) -> tuple[Definition, ...]:
    """The terms of counting: what a case is, hours, rates, states of training, what is complete."""
    training, stated = review.program.training, settings(review.program)
    courses = listed(training.qualifying_courses, 12, "or")
    days = stated.washout_days
    lapse = say("No refresher interval is set.")
    if review.due.refresher_months is not None:
        lapse = say("So do ", review.due.refresher_months, " months without a refresher.")
    return (
        Definition(
            "rate",
            "Rate",
            say(
                "Cases per 200,000 hours worked. That is what 100 full-time staff work in a year of 50 weeks at 40 "
                "hours (29 CFR 1904; Bureau of Labor Statistics). A quarter's rate is on the same base as a year's."
            ),
            ("per 100 full-time staff a year", "per 200,000 hours"),
        ),
        Definition(
            "recordable",
            "Recordable case",
            say(
                "A work-related injury or illness that belongs on the OSHA 300 log (OSHA: Occupational Safety and "
                "Health Administration). It led to death, days away, restricted work or transfer, or medical treatment "
                "beyond first aid (29 CFR 1904.7)."
            ),
            ("recordable injuries", "recordable injury", "recordable cases", "recordable case", "recordable"),
        ),
        Definition(
            "dart",
            "DART case",
            say("A recordable case with days away from work, restricted work, or job transfer."),
            ("DART",),
            "days away, restricted work or transfer",
        ),
        Definition(
            "dart-share",
            "DART share",
            say("DART cases as a share of all recordable cases. It rises when small injuries are no longer reported."),
            ("DART share", "DART cases were"),
        ),
        Definition(
            "days-away",
            "Days-away case",
            say("A recordable case with at least one day away from work."),
            ("injuries with days away", "days-away injuries", "days-away cases"),
        ),
        Definition(
            "handling",
            "Handling injury",
            say(
                "A recordable case from lifting, moving or steadying a patient or resident; it is also called "
                "handling-related. Where the log does not say, it follows from the activity, or from overexertion with "
                "a person as the source."
            ),
            ("handling injuries", "handling injury", "handling-related"),
        ),
        Definition(
            "trained",
            "Trained; current and lapsed training",
            say(
                "Trained: from ",
                days,
                f" days after a first qualifying completion ({courses}) on. " if courses else
                " days after a first completion of any course listed on. ",
                "Current until it lapses. An expiry date in the training file ends it.",
            ) + lapse,
            ("current training", "training was current", "training had lapsed", "qualifying training", "lapsed"),
        ),
        Definition(
            "washout",
            "Washout",
            say(
                "The day of that completion and the days after it, ", days, " in all. Its cases and its hours are left "
                "out together, on neither side.",
            ),
            ("washout",),
        ),
        Definition(
            "hours",
            "Hours",
            say("Hours worked, with overtime and agency staff. Leave, sickness and holiday do not count."),
            ("hours worked",),
        ),
        Definition(
            "complete",
            "Complete quarter",
            say(
                "Every unit's hours cover it without a gap, and it lies within the days for which log and hours are "
                "complete. Other quarters get no rate."
            ),
            ("complete quarter", "complete quarters", "quarter is complete"),
        ),
        Definition(
            "provisional",
            "Provisional",
            say("So recent that late entries may still add cases. A later review may show another number."),
            ("provisional",),
        ),
        Definition(
            "likely",
            "Likely between",
            say(
                "The ", stated.confidence, " interval: the values that these counts fit. It allows for chance and for "
                "nothing else.",
            ),
            ("likely between", "likely range"),
        ),
    )  # fmt: skip


def _comparing(review: Review) -> tuple[Definition, ...]:
    return (
        Definition(
            "ratio",
            "Ratio",
            say("One rate divided by another. One half means half the rate, two means twice the rate, one no change."),
            ("times the rate", "times the earlier one", "ratio"),
        ),
        Definition(
            "avoided",
            "Cases avoided",
            say(
                "The cases that the rate before training would have given on the hours after it, less the cases that "
                "were recorded. It is arithmetic, not proof that training avoided them. Below zero means more cases."
            ),
            ("cases avoided", "more cases than were recorded"),
        ),
        Definition(
            "comparison-unit",
            "Comparison unit",
            say("A unit that has not started the program in these years. It shows what happened without it."),
            ("comparison units", "comparison unit"),
        ),
        Definition(
            "made-up",
            "Made-up facilities",
            say(
                "Facilities drawn by a computer, in which the truth is known. They show how often a way of comparing, "
                "or a chart, says something for nothing."
            ),
            ("made-up facilities", "made-up draws"),
        ),
        Definition(
            "target",
            "Target ratio",
            say("The ratio that the program aims at, as the program file states it: ", review.before_after.target_ratio,
                "."),
            ("target ratio",),
        ),
    )  # fmt: skip


def _watching() -> tuple[Definition, ...]:
    return (
        Definition(
            "chart",
            "Control chart: centre line and limits of chance",
            say(
                "Rates by quarter, or days between cases where they are rare. The centre line is the usual level. A "
                "steady level seldom leaves the limits, so a point outside them is worth a question."
            ),
            ("facility's chart", "control chart", "charts of units", "chart like this", "chart of", "no chart"),
        ),
        Definition(
            "early-warning",
            "Early warning",
            say("A running sum of cases, month by month, that speaks when the rate seems to have doubled."),
            ("early warnings", "early warning"),
        ),
        Definition(
            "funnel",
            "Funnel",
            say(
                "A picture of units by hours and rate. Its limits are wide where hours are few, and close in where "
                "they are many. They hold the units that differ by chance alone."
            ),
            ("funnel",),
        ),
        Definition(
            "p",
            "p, the p-value",
            say("How often chance alone would give a difference at least so large. A small p speaks against chance."),
            ("p = ", "p:"),
        ),
        Definition(
            "audited-step",
            "Audited step",
            say(
                "One step of a transfer, such as setting the brakes, that somebody watched and judged as taught or not."
            ),
            ("audited steps", "audited step"),
        ),
        Definition(
            "first-aid",
            "First-aid case",
            say("An injury that needed first aid only. It is not recordable; reports of it show that people report."),
            ("first-aid cases", "first-aid case", "first aid"),
        ),
        Definition(
            "posted",
            "Posted summary",
            say("The yearly summary of the log that an employer posts for staff (OSHA Form 300A, 29 CFR 1904.32)."),
            ("posted summary",),
        ),
    )


def _money() -> tuple[Definition, ...]:
    return (
        Definition(
            "break-even",
            "Break-even",
            say("So many cases a year a purchase must avoid, over its life, to pay for itself."),
            ("pays for itself", "break-even"),
        ),
        Definition(
            "npv",
            "Net present value",
            say(
                "All that a purchase saves over its life, less all that it costs, in money of today. A saving in a "
                "later year counts for less, by the discount rate. Above nothing, it saves more than it costs."
            ),
            ("net present value",),
        ),
        Definition(
            "discount",
            "Discount rate",
            say("By how much a saving a year later counts for less. Proposals are compared at ", RULES.main_rate,
                " a year."),
            ("discount rates", "discount rate"),
        ),
        Definition(
            "payback",
            "Payback",
            say("The years until the savings have made up for the outlay. Simple payback leaves out the discount "
            "rate."),
            ("pays back", "simple payback", "payback"),
        ),
    )  # fmt: skip


def _letters() -> tuple[Definition, ...]:
    """Abbreviations that stand for no term of the review."""
    return (
        Definition(
            "cfr",
            "29 CFR",
            say(
                "Title 29 of the Code of Federal Regulations (CFR). Its part 1904 says how injuries are recorded. The "
                "Occupational Safety and Health Administration (OSHA) keeps it."
            ),
            ("29 CFR",),
        ),
        Definition("lb", "lb", say("Pounds; a pound is 0.45 kg."), ("lb",), "pounds"),
        Definition("sha", "SHA-256", say("A fingerprint of a file: change one letter and it is another one."),
            ("SHA-256",), "a fingerprint of the text"),
    )  # fmt: skip
