-- grain: one row for the facility
CREATE TABLE out_training_summary AS
WITH roster AS (
    SELECT employee_id, bool_or(fate = 'used') AS qualifies FROM stg_training GROUP BY employee_id
),
staff AS (
    SELECT employee_id, bool_or(phase = 'never') AS is_never, bool_or(phase = 'unknown') AS is_unknown
    FROM int_person_time
    WHERE employee_id IS NOT NULL
    GROUP BY employee_id
)
SELECT
    (SELECT count(*) FROM roster) AS people_in_training,
    (SELECT count(*) FROM roster JOIN staff USING (employee_id)) AS people_matched,
    CAST((SELECT count(*) FROM roster JOIN staff USING (employee_id)) AS DOUBLE)
        / nullif((SELECT count(*) FROM roster), 0) AS match_share,
    (SELECT count(*) FROM stg_training WHERE fate = 'used') AS qualifying_completions,
    (SELECT count(*) FROM (SELECT DISTINCT employee_id, completed_on FROM stg_training WHERE fate = 'used')) AS classes,
    (SELECT count(*) FROM roster WHERE qualifies) AS first_completions,
    (SELECT count(*) FROM staff WHERE is_never) AS people_never_trained,
    (SELECT count(*) FROM staff WHERE is_unknown) AS people_unknown;
