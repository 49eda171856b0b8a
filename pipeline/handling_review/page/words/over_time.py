"""Time in words: the quarters around the start, time since training, and what chance alone would have done."""

from __future__ import annotations

from collections.abc import Mapping

from handling_review.evidence.chance_fall import ChanceFall
from handling_review.evidence.contrast import HIGHER, LOWER
from handling_review.evidence.time_bands import TimeBands
from handling_review.evidence.unit_series import StartSeries
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say


def chance_sentence(chance: ChanceFall, names: Mapping[str, str]) -> Sentence:
    """What units chosen after a bad spell would have gained by chance alone; ``names`` of units by their code."""
    early = listed(tuple(names.get(unit, unit) for unit in chance.early_units))
    if chance.early is None or chance.rest is None or chance.expected_ratio is None:
        return (
            NOTHING
            if not chance.reason
            else say(f"Whether units were chosen after a bad spell cannot be looked at: {chance.reason}.")
        )
    start = say(
        f"These units started first: {early}. In the quarters before the first start they had ",
        *counted(chance.early.events, "case", "cases"),
        " in ",
        chance.early.hours,
        " hours. The others had ",
        chance.rest.events,
        " in ",
        chance.rest.hours,
        ".",
    )
    if not chance.is_bad_spell:
        return start + say("They were not the worse ones, so no fall is to be expected from chance alone.")
    text = start + say(
        "Units picked after a bad spell fall back by chance. With no program at all, their rate would be expected at ",
        chance.expected_ratio,
        " times that of the spell.",
    )
    if chance.observed_ratio is None:
        return text
    return text + say("After they started it was ", chance.observed_ratio, " times.")


def bands_sentence(bands: TimeBands) -> Sentence:
    """The trend with time since training, and what it says of the refresher interval."""
    rule = (
        say("The refresher interval of ", bands.refresher_months, " months")
        if bands.refresher_months is not None
        else say("A refresher interval, of which the program file names none,")
    )
    if bands.step is None or bands.step.value.value is None:
        return (
            say("There are too few hours or cases after training for a trend.")
            + rule
            + say("cannot be judged from them.")
        )
    numbers = say(
        "From one band of time since training to the next the rate changes by a ratio of ",
        bands.step.value,
        " (likely between ",
        bands.step.lower,
        " and ",
        bands.step.upper,
        ").",
    )
    if bands.direction == HIGHER:
        return (
            numbers + say("The rate rises as training ages.") + rule + say("may be too long; see the table for where.")
        )
    if bands.direction == LOWER:
        falls = say("The rate goes on falling as training ages.")
        return numbers + falls + rule + say("is not called into question by it.")
    cannot = say("These data cannot tell whether the effect wears off.")
    return numbers + cannot + rule + say("can neither be backed nor faulted.")


def series_sentence(series: StartSeries) -> Sentence:
    """The step at the start of the units with the program, and the yearly change on either side."""
    if series.level is None or series.before_per_year is None or series.slope is None or series.newey_west is None:
        return say(f"No line is fitted through the quarters: {series.reason}.")
    return say(
        f"The start is taken as {series.start}: the first quarter in which half of the hours are in units that have "
        "begun. There the rate stepped to ",
        series.level.value,
        " times the line before (likely between ",
        series.level.lower,
        " and ",
        series.level.upper,
        "). Neighbouring quarters are often alike; allowing for that, it is ",
        series.newey_west.lower,
        " to ",
        series.newey_west.upper,
        ". Before the start the rate changed by a ratio of ",
        series.before_per_year.value,
        " a year. After it, that yearly ratio was multiplied by ",
        series.slope.value,
        ".",
    )


def series_title(series: StartSeries) -> Sentence:
    """The step as the title of the picture."""
    if series.level is None:
        return say("Rate by quarter; too little for a line before and after")
    return say("At the start the rate stepped to ", series.level.value, " times the line before")
