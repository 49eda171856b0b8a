"""The method part: formulas with this facility's numbers, assumptions, cautions, sources."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence.assemble import Review
from handling_review.evidence.stated import RULES, settings
from handling_review.page.sentence import Sentence, say
from handling_review.page.words.answer import main_analysis
from handling_review.page.words.rates import SERIES_NAME, upper


@dataclass(frozen=True)
class Formula:
    """A formula in words, then the same with this facility's numbers, then its source."""

    name: str
    formula: Sentence
    filled: Sentence
    source: str


def formulas(review: Review) -> tuple[Formula, ...]:
    """The formulas behind the main numbers, filled in where the review has the number."""
    level = settings(review.program).confidence
    found = []
    recent = review.rates.recent
    rate = None if recent is None else recent.of(review.series)
    if rate is not None and rate.rate is not None and rate.lower is not None and rate.upper is not None:
        found += [
            Formula(
                f"Rate of {SERIES_NAME[review.series]}, last four quarters",
                say("cases × 200,000 ÷ hours worked (cases and hours are added up first, divided last)"),
                say(rate.events, " × 200,000 ÷ ", rate.hours, " = ", rate.rate),
                "29 CFR 1904; Bureau of Labor Statistics, how to compute a firm's incidence rate",
            ),
            Formula(
                "Its likely range",
                say("exact ", level, " Poisson limits of the number of cases, each × 200,000 ÷ hours worked"),
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
                say(
                    "(cases after ÷ hours after) ÷ (cases before ÷ hours before); range: mid-P ", level,
                    " limits given the total number of cases"
                ),
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
                say("rate after − rate before; range combined from the limits of the two rates"),
                say(
                    after.rate, " − ", before.rate, " = ", primary.difference.value, ", from ",
                    primary.difference.lower, " to ", primary.difference.upper,
                ),
                "Donner A, Zou GY. 2012; Li HQ, Tang ML, Wong WK. 2014",
            ),
            Formula(
                "Cases avoided, set against the rate before",
                say("(rate before − rate after) × hours after ÷ 200,000"),
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
                say("hours worked by staff with current training ÷ all hours worked"),
                say(row.hours[0], " ÷ ", row.total, " = ", row.shares[0]),
                "a plain share of hours that are all counted, so without a range",
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
            f"The main analysis was fixed in the program file before looking (settings {scope.settings_hash[:12]}). It "
            f"is: {main_analysis(review)}. Everything else is there to test it."
        ),
        say(
            "A pay period that crosses a quarter's end or a training date is split by calendar days, as if its hours "
            "were worked evenly."
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
    say("The review shows recorded injuries, not all injuries. Better reporting can make a rate rise."),
    say("It is not a clinical instruction. Each patient's own assessment, local policy and the equipment manual "
    "decide."),
    say("A difference between before and after is not proof of cause. Other things changed in the same years."),
    say("A unit with few cases can look good or bad by chance alone."),
    say("Published rates cover all injuries and all jobs of an industry. They are no yardstick for handling injuries."),
    say("Do not use these numbers to appraise or discipline anyone, or to reward having nothing to report."),
    say("Recent quarters will change as late entries come in."),
    say("Costs, where they are named, are the facility's own assumptions."),
    say(
        "Training without equipment has not been shown to prevent back pain (Cochrane review CD005958: odds ratio ",
        RULES.cochrane_odds, ", likely between ", RULES.cochrane_lower, " and ", RULES.cochrane_upper, ").",
    ),
)  # fmt: skip

REFERENCES: tuple[str | Sentence, ...] = (
    "29 CFR Part 1904, Recording and Reporting Occupational Injuries and Illnesses.",
    "Bureau of Labor Statistics. How to compute a firm's incidence rate for safety management.",
    say(
        "Bureau of Labor Statistics. Survey of Occupational Injuries and Illnesses: private industry, recordable "
        "cases per 100 full-time workers, ",
        RULES.industry_2003,
        " in 2003 and ",
        RULES.industry_2024,
        " in 2024.",
    ),
    "Robson LS, Shannon HS, Goldenhar LM, Hale AR. Guide to Evaluating the Effectiveness of Strategies for "
    "Preventing Work Injuries. National Institute for Occupational Safety and Health, publication 2001-119.",
    "Garwood F. Fiducial limits for the Poisson distribution. Biometrika 1936.",
    "Fay MP. Two-sided exact tests and matching confidence intervals for discrete data. The R Journal 2010.",
    "Donner A, Zou GY. Closed-form confidence intervals for functions of the normal mean and standard deviation. "
    "Statistical Methods in Medical Research 2012.",
    "Wilson EB. Probable inference, the law of succession, and statistical inference. Journal of the American "
    "Statistical Association 1927.",
    "Kalbfleisch JD, Lawless JF. Inference based on retrospective ascertainment. Journal of the American Statistical "
    "Association 1989.",
    "Waters TR. When is it safe to manually lift a patient? American Journal of Nursing 2007, 107(8):53-58.",
    "Verbeek JH and others. Manual material handling advice and assistive devices for preventing and treating back "
    "pain in workers. Cochrane Database of Systematic Reviews, CD005958, 2011.",
)


def ladder(review: Review) -> tuple[tuple[str, bool], ...]:
    """The ladder of designs, weakest first, and which one this review stands on."""
    found = review.answer.ladder
    return tuple((upper(rung.label), rung.design == found.primary) for rung in found.rungs)
