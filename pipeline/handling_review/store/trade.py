"""What the trade holds of techniques, loads and equipment, as lookups that the SQL files read.

All of it is common practice, no source, but for the load on hands: 35 lb for one helper (Waters 2007, American Journal
of Nursing 107(8):53-58), meant for a cooperative client and good posture, and for lifting, not for pushing or pulling.
"""

from __future__ import annotations

LIFTS = ("sit_to_stand_lift", "floor_lift", "ceiling_lift")
_HANGING = ("floor_lift", "ceiling_lift")
_SLIDING = ("sliding_board", "friction_reducing_sheet", "air_assisted_mat")

# Share of the effort that staff supply, in percent, for which a technique is the usual one; none from 51 to 74.
TECHNIQUE_BANDS: tuple[tuple[str, float, float], ...] = (
    ("lateral_transfer", 75, 100),
    ("two_person_lift", 75, 100),
    ("squat_pivot", 26, 50),
    ("stand_pivot", 0, 25.9999),
)
# Activities in which the hands of staff bear the client's weight. Not among them: pulling in bed, pushing, walking
# beside somebody, holding a limb, getting somebody off the floor.
LIFTED_BY_HAND = (
    "lateral_transfer",
    "two_person_lift",
    "squat_pivot",
    "stand_pivot",
    "toileting",
    "bathing",
    "chair_reposition",
)
# Equipment classes that usually suit an activity; which one suits a client is for the client's own assessment.
SUITABLE_EQUIPMENT: dict[str, tuple[str, ...]] = {
    "reposition_in_bed": ("friction_reducing_sheet", "air_assisted_mat", "ceiling_lift"),
    "lateral_transfer": (*_SLIDING, *_HANGING),
    "two_person_lift": _HANGING,
    "squat_pivot": ("sliding_board", *LIFTS),
    "stand_pivot": LIFTS,
    "toileting": LIFTS,
    "bathing": _HANGING,
    "chair_reposition": ("friction_reducing_sheet", *_HANGING),
    "ambulation_support": _HANGING,
    "floor_recovery": ("air_assisted_mat", *_HANGING),
    "limb_holding": _HANGING,
}
# Time since a person's first hours in the hours file; known where the file begins more than a month before them.
TENURE_UNKNOWN = "not known"
TENURE_BANDS: tuple[tuple[str, int | None, int | None], ...] = (
    ("first 3 months", 0, 89),
    ("3 to 12 months", 90, 364),
    ("1 to 2 years", 365, 729),
    ("2 years and more", 730, 36_500),
    (TENURE_UNKNOWN, None, None),
)
