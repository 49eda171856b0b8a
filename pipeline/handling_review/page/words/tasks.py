"""What people were doing when they were hurt, in words."""

from __future__ import annotations

from handling_review.evidence.stated import RULES
from handling_review.evidence.tasks import TasksEvidence
from handling_review.page.labels import ACTIVITY
from handling_review.page.sentence import NOTHING, Part, Sentence, counted, say
from handling_review.page.words.rates import upper

_NAMED = 3


CLIENTS_FIRST = say(
    "These counts are for discussion. They do not say how to care for anybody: the person's own assessment, local "
    "policy and licensed practice decide that."
)


TECHNIQUE = {
    "in_band": "within the usual band of the technique",
    "outside_band": "outside the usual band of the technique",
    "no_band": "51 to 74% by staff: no usual manual technique",
    "not_known": "share of the effort not given",
}


LOAD = {
    "over_limit": "above 35 lb for each helper",
    "within_limit": "35 lb or less for each helper",
    "not_known": "weight, share, helpers or equipment not given",
}


SUITED = {
    "in_use": "a suited class was in use",
    "on_unit_not_in_use": "a suited class was in service on the unit, and not in use",
    "not_on_unit": "no suited class was in service on the unit",
    "unit_not_listed": "the equipment file does not list the unit",
    "not_known": "equipment in use not given",
}


def activities_sentence(found: TasksEvidence) -> Sentence:
    """The activities with the most handling injuries."""
    if found.reason:
        return say(f"There is nothing to tell by activity: {found.reason}.")
    named = [row for row in found.activities if row.activity != "unknown"][:_NAMED]
    span = f"In {found.first}" if found.first == found.last else f"From {found.first} to {found.last}"
    parts: list[Part] = [
        f"{span} there {'was' if found.total.value == 1 else 'were'} ",
        *counted(found.total, "handling injury", "handling injuries"),
        ", first aid included",
    ]
    if not named:
        return say(*parts, "; for none the activity is given.")
    if sum(row.cases.value or 0 for row in named) == found.total.value:
        parts.append(". It came from " if found.total.value == 1 else ". They came from ")
    else:
        parts.append(". The most came from " if len(named) > 1 else ". All with an activity came from ")
    for at, row in enumerate(named):
        parts += [", " if 0 < at < len(named) - 1 else (" and " if at else ""), ACTIVITY[row.activity], " ("]
        parts += [row.cases, ")"]
    return say(*parts, ".")


def activities_title(found: TasksEvidence) -> Sentence:
    """The activity with the most cases as a title; all of them where two share the first place."""
    first = found.activities[0]
    if len(found.activities) > 1 and found.activities[1].cases.value == first.cases.value:
        return say("Handling injuries by what people were doing: ", found.total, " in all")
    return say(f"{upper(ACTIVITY[first.activity])}: ", first.cases, " of ", found.total, " handling injuries")


def ramps_sentence(found: TasksEvidence) -> Sentence:
    """Wheelchairs on ramps and curbs, told even where there is none."""
    if found.reason:
        return NOTHING
    if not found.ramps.value:
        return say("None came from a wheelchair on a ramp or curb.")
    return say(*counted(found.ramps, "came", "came"), " from a wheelchair on a ramp or curb.")


def technique_sentence(found: TasksEvidence) -> Sentence:
    """Cases whose technique does not fit the share of the effort, and the load on hands."""
    outside, none = found.of("technique", "outside_band"), found.of("technique", "no_band")
    sentence = NOTHING
    if found.with_technique.value:
        sentence = say(
            "For ", found.with_technique, " the log notes a technique and its share of the effort. Of these, ", outside,
            " lay outside the usual band of the technique. In ", none, " of them staff gave ", RULES.no_band_from,
            " to ",
            RULES.no_band_to, "% of the effort. No manual technique is usual for that: assess the person, equipment "
            "first.",
        )  # fmt: skip
    if found.with_load.value:
        sentence = sentence + say(
            "Of ", found.with_load, " in which hands bore a weight that was noted, ", found.of("load", "over_limit"),
            " put more than ", RULES.load_limit, " lb on each helper.",
        )  # fmt: skip
    return sentence


def suited_sentence(found: TasksEvidence) -> Sentence:
    """Equipment that was there and not in use; nothing without a list of equipment."""
    used, idle, absent = (found.of("suited", name) for name in ("in_use", "on_unit_not_in_use", "not_on_unit"))
    if not found.with_suited.value:
        return NOTHING
    return say(
        "For ", found.with_suited, " of the injuries there is equipment that usually suits the task. It was in use in "
        "", used,
        ". It was on the unit but not in use in ", idle, ". It was not on the unit in ", absent, ".",
    )  # fmt: skip


def transfers_sentence(found: TasksEvidence) -> Sentence:
    """The rate per transfers, where transfers are counted."""
    rate = found.per_transfers
    if rate is None:
        return NOTHING
    return say(
        *counted(rate.cases, "recordable handling injury", "recordable handling injuries"), " in ", rate.transfers,
        " transfers counted on ", *counted(rate.units, "unit", "units"), ": about ", rate.rate.value,
        " per ", RULES.per_transfers, " transfers (likely between ",
        rate.rate.lower, " and ", rate.rate.upper, ").",
    )  # fmt: skip


EQUIPMENT_NOTE = (
    "The six columns at the right count recordable and first-aid cases together by the equipment in use. Sliding aid: "
    "sliding board, friction-reducing sheet, air-assisted mat. A gait belt is not lifting equipment."
)


ACTIVITIES_DESCRIPTION = say(
    "One bar for each activity, the longest on top, as long as its number of handling injuries with first aid. "
    "Plain stretches: a lift or a sliding aid was in use. Hatched: no equipment, or a gait belt only. White: "
    "other equipment, or not given. The table gives every number."
)


HOW: tuple[Sentence, ...] = (
    say(
        "Counts show where people are hurt, not how dangerous a task is: what is done often leads to more cases. A "
        "rate by task would need the number of times each is done."
    ),
    say(
        "Usual bands (common practice, no source): staff give ", RULES.lateral_from, "% or more of the effort in a "
        "lateral transfer or two-person lift. They give ", RULES.squat_from, " to ", RULES.squat_to, "% in a squat "
        "pivot, and less than that in a stand pivot.",
    ),
    say(
        "Load on hands: weight times share of the effort, divided by helpers, set against ", RULES.load_limit, " lb "
        "(Waters 2007). It counts cases with no equipment, or a gait belt only. Helpers do not share a load equally. "
        "The figure is for a person who helps and for good posture, not for falls, sudden moves, pushing or pulling. "
        "A load below it is not thereby safe.",
    ),
    say(
        "Which equipment usually suits which task is common practice, with no source. On the unit means listed for the "
        "unit, with a quantity, on that day."
    ),
)  # fmt: skip
