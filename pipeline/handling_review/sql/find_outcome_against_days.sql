-- grain: one case whose day counts do not fit its outcome
SELECT file_no, line,
    outcome || ', days away ' || coalesce(CAST(days_away AS VARCHAR), 'blank') || ', days restricted '
        || coalesce(CAST(days_restricted AS VARCHAR), 'blank') AS found
FROM stg_incidents
WHERE fate = 'used' AND (
    (outcome = 'days_away' AND days_away = 0)
    OR (outcome = 'restricted_or_transfer' AND (days_restricted = 0 OR days_away > 0))
    OR (outcome IN ('other_recordable', 'first_aid') AND (days_away > 0 OR days_restricted > 0))
)
ORDER BY file_no, line;
