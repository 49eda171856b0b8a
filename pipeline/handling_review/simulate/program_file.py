"""The program file of a made-up facility, with its comments."""

from __future__ import annotations

from handling_review.simulate.plan import QUALIFYING_COURSES, Plan

# canonical column: the header that the payroll system prints
HEADERS = {
    "employee_id": "Emp ID",
    "unit": "Cost Center",
    "period_start": "Period Start",
    "period_end": "Period End",
    "pay_code": "Pay Code",
    "hours": "Hours",
    "role": "Role",
    "source": "Source",
}
_PAYROLL = """\
[columns.hours]                  # our word = the header in the payroll export
{columns}

[dates]
hours = "mdy"                    # the payroll writes month/day/year; the other files write year-month-day

[codes.hours.source]             # the payroll's word = our word
"PAYROLL" = "payroll"
"AP" = "agency"                  # agency hours come from paid invoices, without ids

[pay_codes]                      # only hours actually worked count (29 CFR 1904.32)
worked = ["REG", "OT", "EDU", "AGY"]   # EDU: paid time in class
not_worked = ["PTO", "SICK"]
premium_only = ["OTP"]           # the same hours stand in an OT row

"""
_TEXT = """\
# Program file of {name}.
# {name} IS MADE UP: a sample with known truth (see truth.json). No person, injury or hour in it is real.

[facility]
name = "{name}"
naics = "{naics}"
note = "Made-up sample facility. No person, injury or hour in it is real."

[review]
start = {start}
end = {end}
as_of = {as_of}               # the day the exports were taken
log_complete_through = {end}
hours_complete_through = {hours_end}
fiscal_year_start_month = 1

[files]                          # found beside this file
incidents = "incidents.csv"
hours = "hours.csv"
training = "training.csv"
units = "units.csv"
equipment = "equipment.csv"
observations = "observations.csv"
exposure = "exposure.csv"
events = "events.csv"
annual_totals = "annual_totals.csv"
reference_rates = "reference_rates.csv"

{payroll}{aliases}{jobs}[training]
qualifying_courses = [{courses}]
qualifying_statuses = ["completed", "passed"]   # failed, enrolled and waived are not training
washout_days = {washout}                # completion day and the days after it that belong to neither phase
refresher_months = 24            # training lapses after two years without a refresher

[analysis]                       # fixed before anyone looked at the figures
series = "handling"
design = "strongest"             # the strongest design that the hours can carry, by a fixed rule
confidence = 0.95
target_reduction = 0.5           # the claim under test: the rate halves

[money]                          # made-up figures, like all of this facility
currency = "USD"
year = 2026
owner = "Finance office of the made-up facility"
stated_on = 2026-07-01
wage_per_hour = 31.0             # an hour in class, with what the employer pays on top
hours_per_completion = 4.0
materials_per_completion = 12.0
other_costs = 9000               # trainers' preparation, in all
budget = 45000

[[money.proposals]]
name = "Ceiling lifts, Dogwood"
unit = "Dogwood Memory Care"
equipment = "ceiling_lift"
quantity = 3
unit_cost = 7200
yearly_service = 1100
life_years = 10
share_addressed = 0.5
reduction_low = 0.15
reduction_base = 0.35
reduction_high = 0.55
source = "made up"
owner = "Therapy lead of the made-up facility"
stated_on = 2026-07-01

[[money.proposals]]
name = "Sit-to-stand lifts, Birch"
unit = "Birch House"
equipment = "sit_to_stand_lift"
quantity = 2
unit_cost = 3900
yearly_service = 500
life_years = 8
share_addressed = 0.4
reduction_low = 0.1
reduction_base = 0.3
reduction_high = 0.5
source = "made up"
owner = "Therapy lead of the made-up facility"
stated_on = 2026-07-01

[[money.proposals]]
name = "Air-assisted mats, Elm"
unit = "Elm Skilled"
equipment = "air_assisted_mat"
quantity = 4
unit_cost = 3300
yearly_service = 900
life_years = 6
share_addressed = 0.3
reduction_low = 0.1
reduction_base = 0.4
reduction_high = 0.6
source = "made up"
owner = "Therapy lead of the made-up facility"
stated_on = 2026-07-01

[thresholds]
privacy_cell = 5                 # counts of 1 to 4 are hidden in a copy for wide circulation
unreliable_below = 5             # fewer cases: counts and an upper limit, no rate
unstable_below = 16              # fewer cases: the rate is marked unstable
"""


def program_text(plan: Plan, *, by_shift: bool = False) -> str:
    """Text of the program file. ``by_shift``: the hours file has one row a shift, in canonical columns."""
    columns = "\n".join(f'{ours} = "{theirs}"' for ours, theirs in HEADERS.items())
    spellings = {}
    for unit in plan.units:
        for other in (unit.alias, unit.former_name):
            if other and plan.mess:
                spellings[other] = unit.unit
    aliases = "".join(f'"{other}" = "{unit}"\n' for other, unit in spellings.items())
    return _TEXT.format(
        name=plan.name,
        naics=plan.naics,
        start=plan.start,
        end=plan.end,
        as_of=plan.as_of,
        hours_end=plan.last_period_end,
        payroll="" if by_shift else _PAYROLL.format(columns=columns),
        aliases=f"[units.aliases]                  # another spelling = the unit\n{aliases}\n" if aliases else "",
        jobs='[jobs]                           # another title = the job\n"Nurse\u2019s aide" = "Nurse aide"\n\n'
        if plan.mess
        else "",
        courses=", ".join(f'"{course}"' for course in QUALIFYING_COURSES),
        washout=plan.washout_days,
    )
