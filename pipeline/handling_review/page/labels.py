"""Codes of the contracts in plain words."""

from __future__ import annotations

ACTIVITY = {
    "reposition_in_bed": "moving up or turning in bed",
    "lateral_transfer": "lateral transfer",
    "two_person_lift": "two-person lift",
    "squat_pivot": "squat pivot",
    "stand_pivot": "stand pivot",
    "mechanical_lift": "transfer with a lift",
    "toileting": "toileting",
    "bathing": "bathing",
    "chair_reposition": "moving back in a chair",
    "wheelchair_level": "wheelchair on the level",
    "wheelchair_ramp_or_curb": "wheelchair on a ramp or curb",
    "ambulation_support": "supporting somebody who walks",
    "floor_recovery": "getting somebody off the floor",
    "limb_holding": "holding a limb",
    "other_handling": "other handling",
    "unknown": "activity not given",
}
EQUIPMENT_GROUP = {
    "lift": "lift",
    "sliding": "sliding aid",
    "gait_belt": "gait belt",
    "none": "none",
    "other": "other",
    "not_given": "not given",
}
OUTCOME = {
    "death": "death",
    "days_away": "days away",
    "restricted_or_transfer": "restricted work or transfer",
    "other_recordable": "other recordable",
}
NATURE = {
    "sprain_strain": "sprain or strain",
    "soreness_pain": "soreness or pain",
    "fracture": "fracture",
    "contusion": "bruise",
    "cut": "cut",
    "other": "other",
}
GROUP_KIND = {
    "job": "job",
    "tenure": "time since the first hours here",
    "body_part": "part of the body",
    "nature": "kind of injury",
    "hour": "hour of day",
}
ITEM = {
    "brakes_set": "brakes set",
    "chair_angle_60_to_90": "chair at 60 to 90 degrees",
    "stronger_side_first": "stronger side first",
    "rests_cleared": "foot and arm rests cleared",
    "client_at_edge": "client moved to the edge",
    "steps_explained": "steps explained to the client",
    "count_given": "count given aloud",
    "stance_wide": "feet wide apart",
    "knees_bent": "knees bent",
    "load_close": "load kept close",
    "look_behind": "looked behind",
    "discomfort_asked": "asked about discomfort",
}
TRANSFER = {
    **{code: ACTIVITY[code] for code in ("lateral_transfer", "two_person_lift", "squat_pivot", "stand_pivot")},
    **{code: ACTIVITY[code] for code in ("mechanical_lift", "wheelchair_level", "wheelchair_ramp_or_curb")},
    "other": "other transfer",
}


def group(kind: str, value: str) -> str:
    """One group's name as it is printed."""
    if kind == "nature":
        return NATURE.get(value, value)
    if kind == "hour" and value.isdigit():
        start = int(value)
        return f"{start:02d}:00 to {start + 3:02d}:59"
    return value
