"""Signal or noise in words: what the charts and the early warnings say, by shape of the result."""

from __future__ import annotations

from collections.abc import Sequence

from handling_review.evidence.assemble import Review
from handling_review.evidence.chart_study import ChartStudy
from handling_review.evidence.control import (
    ALL,
    ALL_BUT_LATEST,
    BEFORE_START,
    FEWER,
    MORE,
    OUTSIDE,
    RUN,
    STATED,
    TREND,
    Chart,
    Signal,
)
from handling_review.evidence.early_warning import EarlyWarning
from handling_review.evidence.quarters import stretches
from handling_review.evidence.stated import RULES
from handling_review.evidence.watch import Watch
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say, spoken
from handling_review.page.words.rates import SERIES_NAME, upper
from handling_review.visible import short

_RULES = {
    OUTSIDE: "outside the limits of chance, towards {} injuries",
    RUN: "in a run of eight or more on the side of {} injuries",
    TREND: "in six or more in a row that move towards {} injuries",
}
_BASELINE = {
    BEFORE_START: "the quarters before the start of the program, frozen there",
    STATED: "the quarters that the program file states",
    ALL_BUT_LATEST: "all complete quarters but the latest four, because no start leaves four quarters before it",
    ALL: "all that there is, because there is too little to keep the latest apart",
}
RULES_EXPLAINED = (
    say(
        "A point outside the limits: with a steady rate, a count of cases falls above them with a chance of at most ",
        RULES.outside_chance, ". The same holds below them (exact limits for counts).",
    ),
    say("Eight or more in a row on one side of the centre: the level has likely moved, even if no single point is "
    "odd."),
    say("Six or more in a row that rise, or that fall: the level is likely drifting."),
)  # fmt: skip


def signal_words(signals: Sequence[Signal]) -> tuple[str, ...]:
    """Each signal as words that fit rates and waiting times alike."""
    return tuple(_RULES[signal.rule].format(signal.direction) for signal in signals)


def chart_title(chart: Chart, series: str) -> Sentence:
    """The finding of one chart as the title of its picture."""
    what = "days between cases" if chart.kind == "days_between" else SERIES_NAME[series]
    if not chart.has_signal():
        return say(f"{short(chart.name, 60)}, {what}: nothing stands out from chance")
    sides = {signal.direction for point in chart.marks for signal in point.signals}
    side = " and of ".join(f"{word} injuries" for word in (MORE, FEWER) if word in sides)
    return say(f"{short(chart.name, 60)}, {what}: some points tell of {side} than before")


def signal_sentence(chart: Chart, series: str) -> Sentence:
    """Which quarters of the facility's chart the three rules point at, or that none does."""
    if chart.reason:
        return say(f"No chart of the whole facility is drawn: there are {chart.reason}.")
    spoken = [
        f"{listed(stretches(quarters))} {_RULES[rule].format(side)}"
        for rule in _RULES
        for side in (MORE, FEWER)
        if (quarters := chart.with_signal(rule, side))
    ]
    if not spoken:
        return say(f"No quarter of {SERIES_NAME[series]} stands out from the spread that chance alone gives.")
    return say(f"Worth asking why: {'; '.join(spoken)}.")


def warning_sentence(found: EarlyWarning) -> Sentence:
    """Whether the facility's early warning of a doubling speaks now, how often for nothing, how soon for true."""
    if found.reason or found.threshold is None:
        return say(f"There is no early warning for the whole facility: {found.reason}.")
    start = (
        say(f"The early warning of a doubled rate speaks in {listed(found.now)}.")
        if found.now
        else say("The early warning of a doubled rate is silent in the latest two quarters.")
    )
    if found.quiet_months is None or found.found_after is None:
        return start
    return start + say(
        "With nothing changing it speaks for nothing about once in ", found.quiet_months, " months, or somewhat more "
        "often, because the usual rate is an estimate. It tells a true doubling after about ", found.found_after,
        " months on average.",
    )  # fmt: skip


def units_sentence(found: Watch, study: ChartStudy) -> Sentence:
    """What the charts and warnings of the units say of the latest two quarters, and what chance alone would."""
    if len(found.units) < 2:  # the chart of a single unit is the facility's
        return NOTHING
    parts = []
    for side in (MORE, FEWER):
        names = found.units_now(side)
        if names:
            charts = "chart" if len(names) == 1 else "charts"
            points = "points" if len(names) == 1 else "point"
            parts.append(f"the {charts} of {listed(names)} {points} to {side} injuries than before")
    warned = found.units_warned()
    if warned:
        parts.append(f"the early warning of a doubled rate speaks in {listed(warned)}")
    if not parts:
        return say("By unit, no chart and no early warning speaks in the latest two quarters.")
    told = say(f"By unit, in the latest two quarters: {'; '.join(parts)}.")
    return told + say(
        "With nothing changing, about ", study.by_chance, " of the ", study.charts, " charts of units would show a "
        "signal there by chance.",
    )  # fmt: skip


def false_sentence(found: Watch) -> Sentence:
    """How often the facility's chart speaks with nothing changing."""
    false = found.false_signals
    if false is None:
        return NOTHING
    once = (
        NOTHING
        if false.quarters_per_signal is None
        else say(
            "With nothing changing, a chart like this signals about once in ", false.quarters_per_signal, " quarters."
        )
    )
    return once + say(
        "It shows some signal in ", false.share, " of made-up facilities with these hours and one steady rate. So a "
        "signal is a question, not an answer.",
    )  # fmt: skip


def study_sentence(study: ChartStudy) -> Sentence:
    """How often the charts of units speak for nothing, and how soon they see a doubling, from the study."""
    if not study.rows:
        return NOTHING
    sentence = say("Charts of small units see little.")
    for row in study.rows:
        sentence = sentence + say(
            "With ", row.expected, " cases expected a quarter, a steady unit's chart speaks for nothing about once in ",
            *((row.quarters_per_signal, " quarters") if row.quarters_per_signal else ("many years", "")),
            ". It shows a doubling within a year in ", row.doubling_within_4, " of such charts, a halving in ",
            row.halving_within_4, ".",
        )  # fmt: skip
    return sentence


def stands_out_sentences(found: Watch, *, units_differ: bool, units_compared: bool = True) -> tuple[Sentence, ...]:
    """What page one says of charts and warnings; ``units_differ``: a unit stands out from the others anyway.

    Of units it takes the early warnings alone: their thresholds allow for the number of units, the charts' do not.
    ``units_compared``: there are units with enough cases to be set against the others. What cannot be made yet is not
    called silent.
    """
    said = []
    now = found.facility.now()
    if now:
        phrases = dict.fromkeys(signal_words(now))
        said.append(say(f"The facility's latest quarters are {'; '.join(phrases)}."))
    if found.warning.now:
        said.append(say(f"The facility's early warning of a doubled rate speaks in {listed(found.warning.now)}."))
    warned = found.units_warned() if len(found.units) > 1 else ()
    if warned:
        said.append(say(f"The early warning of a doubled rate speaks in {listed(warned)}: ask there first."))
    if said:
        return tuple(said)
    made = [] if found.facility.reason else ["the facility's chart"]
    if not all(warning.reason for warning in (found.warning, *found.unit_warnings)):
        made.append("the early warnings")
    if not made:
        why = found.facility.reason
        return (say(f"Too early to say what stands out: no chart and no early warning can be made ({why})."),)
    silent = f"{' and '.join(made)} {'is' if made == [made[0]] and not found.facility.reason else 'are'} silent"
    if units_differ:
        return (say(f"{upper(silent)} in the latest two quarters."),)
    others = (
        "no unit differs from the others beyond chance"
        if units_compared
        else "no unit has enough cases to be set against the others"
    )
    if len(found.units) == 1:
        return (say(f"Nothing stands out. In the latest two quarters {silent}."),)
    return (say(f"Nothing stands out. In the latest two quarters {silent}. {upper(others)}."),)


def baseline_sentence(chart: Chart) -> Sentence:
    """What the centre line rests on, and the only way to move it."""
    if chart.reason:
        return NOTHING
    ends = chart.baseline[0] if len(chart.baseline) == 1 else f"{chart.baseline[0]} to {chart.baseline[-1]}"
    return say(
        f"The facility's centre line is made of {_BASELINE[chart.baseline_rule]} ({ends}). It moves only when the "
        "program file says so (baseline_from and baseline_through under [charts]). Do that once a change has lasted "
        "eight quarters and its reason is known."
    )


def reference_sentence(found: EarlyWarning) -> Sentence:
    """What the early warning takes as usual, and how it counts."""
    if found.usual is None or found.threshold is None:
        return NOTHING
    return say(
        "The early warning adds up, month by month, the cases beyond a level. That level lies between the usual rate "
        "and twice that rate. It speaks when the sum reaches ", found.threshold, " cases. Usual is ", found.usual,
        f" per 200,000 hours, the rate of {found.reference[0]} to {found.reference[-1]}. That is up to eight quarters "
        "before the latest two, and only those after the start if there are four of them.",
    )  # fmt: skip


def unit_warning_sentence(found: Watch) -> Sentence:
    """How the units' warnings are set: for all of them together, not for each."""
    known = [unit for unit in found.unit_warnings if unit.quiet_months is not None and unit.found_after is not None]
    if not known:
        return NOTHING
    slowest = max(known, key=lambda unit: unit.found_after.value or 0 if unit.found_after else 0)
    assert slowest.found_after is not None
    return say(
        "Each unit's usual rate is drawn towards that of all units. The thresholds are set for all ",
        *counted(found.units_watched, "unit", "units"), " together: about once in ten years one of them speaks for "
        "nothing, or somewhat more often, because the usual rates are estimates. A true doubling is told after up to ",
        *counted(slowest.found_after, "month", "months"), " on average.",
    )  # fmt: skip


def kind_words(chart: Chart) -> str:
    """The kind of a chart for a table."""
    if chart.reason:
        return "none, too few cases" if "cases" in chart.reason or "waits" in chart.reason else "none, too few quarters"
    return "days between cases" if chart.kind == "days_between" else "rates by quarter"


def now_words(chart: Chart) -> str:
    """The signals of the latest quarters for a table."""
    if chart.reason:
        return ""
    return upper("; ".join(dict.fromkeys(signal_words(chart.now())))) or "none"


UNIT_CHARTS_NOTE = (
    "Rates by quarter: per 200,000 hours. Where fewer than two cases are expected a quarter, the days from one case to "
    "the next are charted instead. With fewer than five cases no chart is drawn."
)


WAITS_NOTE = (
    "Days from the case before to this one, in the order of the cases. Dates give whole days, so a wait "
    "counts as too short only if a day more would still be. The wait since the last case is cut to whole weeks, since "
    "to the day it would give away the day of each case."
)


def signals_how(found: Watch, review: Review) -> tuple[Sentence, ...]:
    """What lines, rules and warnings rest on."""
    return spoken(
        baseline_sentence(found.facility),
        *RULES_EXPLAINED,
        reference_sentence(found.warning),
        unit_warning_sentence(found),
        study_sentence(review.chart_study),
        say(
            "A point of a unit's chart can stand on very few cases. It is read against the limits and its "
            "neighbours, never by itself as the unit's rate."
        ),
        *(say(f"{upper(text)}.") for text in found.facility.notes),
    )


def rates_description(is_whole: bool, chart: Chart) -> Sentence:
    """A chart of rates for readers who do not see it."""
    return say(
        "Control chart of ",
        "the whole facility" if is_whole else chart.name,
        ". Dots are the rates by quarter, joined by a line. Hollow ones are provisional; squares take part in a "
        "signal. A solid line is the centre. Dotted lines are limits that a steady rate rarely leaves. Upright dotted "
        "lines are program starts, boxed letters entries of the diary. The table gives every number.",
    )


def waits_description(chart: Chart) -> Sentence:
    """A chart of days between cases for readers who do not see it."""
    return say(
        f"Days between cases in {chart.name}, in the order of the cases; higher is better. The hollow dot at the "
        "right is the wait since the last case, which has not ended. Squares take part in a signal. A solid line "
        "is the centre. Dotted lines are limits that a steady pace rarely leaves. The table gives every number."
    )
