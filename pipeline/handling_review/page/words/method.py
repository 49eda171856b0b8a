"""The method part: definitions, formulas with this facility's numbers, assumptions, cautions, sources."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence.assemble import Review
from handling_review.page.sentence import Sentence, listed, say
from handling_review.page.words.answer import main_analysis
from handling_review.page.words.rates import SERIES_NAME, upper


@dataclass(frozen=True)
class Definition:
    """A term and what it means here."""

    term: str
    meaning: Sentence


@dataclass(frozen=True)
class Formula:
    """A formula in words, then the same with this facility's numbers, then its source."""

    name: str
    formula: str
    filled: Sentence
    source: str


def definitions(review: Review) -> tuple[Definition, ...]:
    """The terms of the review, with the settings that shape them."""
    training, analysis = review.program.training, review.program.analysis
    courses = listed(training.qualifying_courses, 12)
    days = training.washout_days
    refresher = training.refresher_months
    lapse = "An expiry date in the training file ends it" + (
        f", and so do {refresher} months without a refresher." if refresher else "; no refresher interval is set."
    )
    rows = (
        (
            "Rate",
            "Cases per 200,000 hours worked, which is 100 full-time staff working 40 hours a week for 50 weeks "
            "(29 CFR 1904; Bureau of Labor Statistics). A quarter's rate is on the same base as a year's.",
        ),
        (
            "Recordable case",
            "A work-related injury or illness that belongs on the OSHA 300 log: death, days away, restricted "
            "work or transfer, medical treatment beyond first aid (29 CFR 1904.7).",
        ),
        ("DART case", "A recordable case with days away from work, restricted work, or job transfer."),
        ("Days-away case", "A recordable case with at least one day away from work."),
        (
            "Handling injury",
            "A recordable case from lifting, moving or steadying a patient or resident. Where the log does not "
            "say, it follows from the activity, or from overexertion with a person as the source.",
        ),
        (
            "Trained",
            (f"A first qualifying completion of {courses}" if courses else "A first completion of any course listed")
            + f", plus {days} days. " + lapse,
        ),
        (
            "Washout",
            f"The day of that completion and the days after it, {days} in all. Its cases and its hours are left "
            "out together, on neither side.",
        ),
        ("Hours", "Hours actually worked, overtime and agency staff included; leave, sickness and holiday are not."),
        (
            "Complete quarter",
            "Every unit's hours cover it without a gap, and it lies within the days for which log and hours are "
            "complete. Other quarters get no rate.",
        ),
        (
            "Cases avoided",
            "The cases that the rate before training would have given on the hours after it, less the cases that "
            "were recorded. It is arithmetic, not proof that training avoided them; below zero means more cases.",
        ),
        (
            "Likely between",
            f"The {100 * analysis.confidence:g}% interval: the values that these counts are compatible with. It "
            "allows for chance and for nothing else.",
        ),
    )  # fmt: skip
    return tuple(Definition(term, say(meaning)) for term, meaning in rows)


def formulas(review: Review) -> tuple[Formula, ...]:
    """The formulas behind the main numbers, filled in where the review has the number."""
    level = f"{100 * review.program.analysis.confidence:g}%"
    found = []
    recent = review.rates.recent
    rate = None if recent is None else recent.of(review.series)
    if rate is not None and rate.rate is not None and rate.lower is not None and rate.upper is not None:
        found += [
            Formula(
                f"Rate of {SERIES_NAME[review.series]}, last four quarters",
                "cases × 200,000 ÷ hours worked (cases and hours are added up first, divided last)",
                say(rate.events, " × 200,000 ÷ ", rate.hours, " = ", rate.rate),
                "29 CFR 1904; Bureau of Labor Statistics, how to compute a firm's incidence rate",
            ),
            Formula(
                "Its likely range",
                f"exact {level} Poisson limits of the number of cases, each × 200,000 ÷ hours worked",
                say("from ", rate.lower, " to ", rate.upper),
                "Garwood F. Fiducial limits for the Poisson distribution. Biometrika 1936",
            ),
        ]
    primary = review.before_after.primary
    after, before = primary.now, primary.then
    if primary.ratio is not None:
        found.append(
            Formula(
                "Ratio after to before",
                f"(cases after ÷ hours after) ÷ (cases before ÷ hours before); range: mid-P {level} limits given "
                "the total number of cases",
                say(
                    "(", after.events, " ÷ ", after.hours, ") ÷ (", before.events, " ÷ ", before.hours, ") = ",
                    primary.ratio.value, ", from ", primary.ratio.lower, " to ", primary.ratio.upper,
                ),
                "Rothman KJ, Greenland S. Modern Epidemiology; Fay MP. The R Journal 2010",
            )
        )  # fmt: skip
    if primary.difference is not None and primary.avoided is not None and before.rate and after.rate:
        found += [
            Formula(
                "Difference after minus before, per 200,000 hours",
                "rate after − rate before; range combined from the limits of the two rates",
                say(
                    after.rate, " − ", before.rate, " = ", primary.difference.value, ", from ",
                    primary.difference.lower, " to ", primary.difference.upper,
                ),
                "Donner A, Zou GY. 2012; Li HQ, Tang ML, Wong WK. 2014",
            ),
            Formula(
                "Cases avoided, set against the rate before",
                "(rate before − rate after) × hours after ÷ 200,000",
                say(
                    "(", before.rate, " − ", after.rate, ") × ", after.hours, " ÷ 200,000 = ",
                    primary.avoided.value, ", from ", primary.avoided.lower, " to ", primary.avoided.upper,
                ),
                "the difference, on the hours after training",
            ),
        ]  # fmt: skip
    training = review.training
    if training.latest and training.of(training.latest).shares:
        row = training.of(training.latest)
        found.append(
            Formula(
                f"Training coverage in {row.label}",
                "hours worked by staff with current training ÷ all hours worked",
                say(row.hours[0], " ÷ ", row.total, " = ", row.shares[0]),
                "a plain share; the hours are all counted, so there is no range",
            )
        )
    return tuple(found)


def assumptions(review: Review) -> tuple[Sentence, ...]:
    """What was taken as given, and by whom it is owned."""
    scope, change = review.scope, review.before_after
    owner = {True: "stated in the program file", False: "assumed; state it in the program file"}
    found = [
        say(f"The injury log is complete through {scope.log_complete_through} ({owner[scope.log_complete_stated]})."),
        say(f"The hours are complete through {scope.hours_complete_through} ({owner[scope.hours_complete_stated]})."),
        say(
            f"The main analysis was fixed in the program file before looking (settings {scope.settings_hash[:12]}): "
            f"{main_analysis(review)}. Everything else is there to test it."
        ),
        say(
            "Hours of a pay period that crosses a quarter's end or a training date are split by calendar days, as "
            "if worked evenly."
        ),
        say(
            "Staff whose training is not known stay in the facility's rates and out of the comparison. Staff with no "
            "training on record are in neither phase."
        ),
    ]
    if change.left_out_hours.value:
        found.append(
            say(
                "Incomplete quarters are left out of the comparison whole: ", change.left_out_cases,
                " cases and ", change.left_out_hours, " hours leave together.",
            )
        )  # fmt: skip
    found.append(
        say(
            "This review sets rates against each other ",
            review.looks,
            " times. The more one looks, the more chance finds; only one comparison is the main one.",
        )
    )
    return tuple(found)


CAUTIONS = (
    "The review shows recorded injuries, not all injuries. Better reporting can make a rate rise.",
    "It is not a clinical instruction. Each patient's own assessment, local policy and the equipment manual decide.",
    "A difference between before and after is not proof of cause. Other things changed in the same years.",
    "A unit with few cases can look good or bad by chance alone.",
    "Published industry rates cover all injuries and all jobs; they are no yardstick for handling injuries.",
    "Do not use these numbers to appraise or discipline anyone, or to reward having nothing to report.",
    "Recent quarters will change as late entries come in.",
    "Costs, where they are named, are the facility's own assumptions.",
    "Training without equipment has not been shown to prevent back pain (Cochrane review CD005958: odds ratio "
    "1.17, 95% interval 0.68 to 2.02).",
)

REFERENCES = (
    "29 CFR Part 1904, Recording and Reporting Occupational Injuries and Illnesses.",
    "Bureau of Labor Statistics. How to compute a firm's incidence rate for safety management.",
    "Bureau of Labor Statistics. Survey of Occupational Injuries and Illnesses: private industry, recordable cases "
    "per 100 full-time workers, 5.0 in 2003 and 2.3 in 2024.",
    "Robson LS, Shannon HS, Goldenhar LM, Hale AR. Guide to Evaluating the Effectiveness of Strategies for "
    "Preventing Work Injuries. NIOSH 2001-119.",
    "Garwood F. Fiducial limits for the Poisson distribution. Biometrika 1936.",
    "Fay MP. Two-sided exact tests and matching confidence intervals for discrete data. The R Journal 2010.",
    "Donner A, Zou GY. Closed-form confidence intervals for functions of the normal mean and standard deviation. "
    "Statistical Methods in Medical Research 2012.",
    "Wilson EB. Probable inference, the law of succession, and statistical inference. JASA 1927.",
    "Verbeek JH and others. Manual material handling advice and assistive devices for preventing and treating back "
    "pain in workers. Cochrane Database of Systematic Reviews, CD005958, 2011.",
)


def ladder(review: Review) -> tuple[tuple[str, bool], ...]:
    """The ladder of designs, weakest first, and which one this review stands on."""
    found = review.answer.ladder
    return tuple((upper(rung.label), rung.design == found.primary) for rung in found.rungs)
