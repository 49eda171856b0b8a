"""What people were doing when they were hurt, in words."""

from __future__ import annotations

from handling_review.evidence.tasks import TasksEvidence
from handling_review.page.labels import ACTIVITY
from handling_review.page.sentence import NOTHING, Part, Sentence, counted, say

_NAMED = 3


CLIENTS_FIRST = say(
    "These counts are for discussion. They are no instruction for care: the client's own assessment, local policy and "
    "licensed practice decide what is done."
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
    parts: list[Part] = [
        f"From {found.first} to {found.last} there were ", *counted(found.total, "handling injury", "handling "
        "injuries"),
        ", first aid included",
    ]  # fmt: skip
    if not named:
        return say(*parts, "; for none the activity is given.")
    parts.append(". The most came from " if len(named) > 1 else ". All with an activity came from ")
    for at, row in enumerate(named):
        parts += [", " if 0 < at < len(named) - 1 else (" and " if at else ""), ACTIVITY[row.activity], " ("]
        parts += [row.cases, ")"]
    return say(*parts, ".")


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
            "Of ", found.with_technique, " with a technique and its share of the effort noted, ", outside, " lay "
            "outside the usual band of the technique, and in ", none, " staff gave 51 to 74% of the effort, for which "
            "no manual technique is usual: individual assessment, equipment first.",
        )  # fmt: skip
    if found.with_load.value:
        sentence = sentence + say(
            "Where the weight was borne by hand and noted (", found.with_load, "), ", found.of("load", "over_limit"),
            " put more than 35 lb on each helper.",
        )  # fmt: skip
    return sentence


def suited_sentence(found: TasksEvidence) -> Sentence:
    """Equipment that was there and not in use; nothing without a list of equipment."""
    used, idle, absent = (found.of("suited", name) for name in ("in_use", "on_unit_not_in_use", "not_on_unit"))
    if not found.with_suited.value:
        return NOTHING
    return say(
        "In ", found.with_suited, " a class of equipment usually suits the activity: it was in use in ", used,
        ", in service on the unit but not in use in ", idle, ", and not on the unit in ", absent, ".",
    )  # fmt: skip


def transfers_sentence(found: TasksEvidence) -> Sentence:
    """The rate per transfers, where transfers are counted."""
    rate = found.per_transfers
    if rate is None:
        return NOTHING
    return say(
        *counted(rate.cases, "recordable handling injury", "recordable handling injuries"), " in ", rate.transfers,
        " transfers counted on ", *counted(rate.units, "unit", "units"), ": about ", rate.rate.value,
        " per 10,000 transfers (likely between ",
        rate.rate.lower, " and ", rate.rate.upper, ").",
    )  # fmt: skip


EQUIPMENT_NOTE = (
    "The six columns at the right count recordable and first-aid cases together by the equipment in use. "
    "Sliding aid: sliding board, friction-reducing sheet, air-assisted mat. A gait belt is not lifting "
    "equipment."
)


ACTIVITIES_DESCRIPTION = say(
    "One bar for each activity, the longest on top, as long as its number of handling injuries with first aid. "
    "Plain stretches: a lift or a sliding aid was in use. Hatched: no equipment, or a gait belt only. White: "
    "other equipment, or not given. The table gives every number."
)


HOW: tuple[Sentence, ...] = (
    say(
        "Counts show where people are hurt, not how dangerous an activity is: what is done often leads to more "
        "cases. A rate by activity would need the number of times each is done."
    ),
    say(
        "Usual bands, common practice without a source: staff give 75% or more of the effort in a lateral "
        "transfer or two-person lift, 26 to 50% in a squat pivot, under 26% in a stand pivot."
    ),
    say(
        "Load on hands: weight times share of the effort, divided by helpers, against 35 lb (Waters 2007, "
        "American Journal of Nursing 107(8):53-58), where no equipment or only a gait belt was in use. "
        "Helpers do not share a load equally. The figure is for a cooperative client and good posture, not "
        "for falls, sudden movements, pushing or pulling; below it is not a safe harbour."
    ),
    say(
        "Which class of equipment usually suits which activity is common practice without a source; in service "
        "means listed for the unit, with a quantity, from that day on or before."
    ),
)
