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
