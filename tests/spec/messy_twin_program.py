"""The program file that maps the messy twin, in parts: a test can leave a part out."""

from __future__ import annotations

PROGRAM = """\
[facility]
name = "Quillmere Care Campus"
naics = "623110"
[review]
start = 2023-01-01
end = 2024-12-31
as_of = 2025-01-20
log_complete_through = 2024-12-31
hours_complete_through = 2025-01-04
fiscal_year_start_month = 7
[files]
incidents = ["log_1.csv", "log_2.csv"]
hours = ["hours_1.csv", "hours_2.csv", "hours_2_copy.csv"]
training = ["roster_1.csv", "roster_2.csv"]
units = "units.csv"
equipment = "equipment.csv"
observations = "observations.csv"
exposure = "exposure.csv"
events = "events.csv"
annual_totals = "annual_totals.csv"
reference_rates = "reference_rates.csv"
[training]
qualifying_courses = ["Safe handling, hands-on day*", "Safe handling, refresher"]
refresher_months = 6
"""
COLUMNS = """\
[columns.hours]
unit = "Cost Ctr"
employee_id = "Badge #"
period_start = "From"
period_end = "Thru"
pay_code = "Code"
hours = "Qty Hrs"
role = "Job"
source = "Src"
[columns.incidents]
case_number = "Case No."
employee_id = "Emp. No."
event_date = "Date of injury"
event_time = "Clock"
reported_date = "Reported"
unit = "Where it happened"
tick_death = "(G) Death"
tick_days_away = "(H) Days away"
tick_restricted = "(I) Transfer"
tick_other = "(J) Other"
outcome = "Not recordable"
days_away = "(K)"
days_restricted = "(L)"
case_type = "Type (M)"
event_type = "Cause"
activity = "Task"
handling_related = "Handling?"
nature = "Injury"
equipment_in_use = "Device"
assist_share = "Effort"
client_weight_lb = "Weight"
privacy_case = "Privacy"
claim_cost = "Paid"
cost_as_of = "Paid as of"
person_type = "Who"
row_status = "Line"
version = "Rev"
[columns.training]
employee_id = "Login"
course = "Course title"
completed_on = "Done"
status = "Result"
expires_on = "Valid until"
kind = "Type"
competency = "Signed off"
[columns.units]
program_start = "Go live"
"""
FORMS = """\
[dates]
hours = "mdy"
incidents = "dmy"
units = "mdy"
[decimal_comma]
hours = true
"""
CODES = """\
[ids]
zero_pad = 6
[codes.hours.source]
"PAYROLL" = "payroll"
"AP" = "agency"
[codes.incidents.outcome]
"first aid only" = "first_aid"
[codes.incidents.event_type]
"strain" = "overexertion"
"assault" = "violence"
[codes.incidents.row_status]
"claim denied" = "active"
[codes.training.status]
"88" = "passed"
[codes.training.employee_id]
{logins}
[pay_codes]
worked = ["REG", "OT", "EDU", "AGY", "ADJ"]
not_worked = ["PTO", "SICK", "ONCALL", "HOL", "JURY", "CASHOUT", "DONATED"]
premium_only = ["OTP", "DIFF"]
[jobs]
"Nurse\u2019s Nurse aide" = "nurse aide"
"Nurse\u2019s Licensed practical nurse" = "licensed practical nurse"
"Nurse\u2019s Registered nurse" = "registered nurse"
"Nurse\u2019s Therapy aide" = "therapy aide"
"Nurse\u2019s Therapist" = "therapist"
[[units.changes]]
on = 2024-01-01
old = ["Elm Sub-Acute"]
new = ["Elm Skilled"]
"""
