-- grain: one person (null: hours without an id) x unit x quarter x phase x band x lapsed x side of go-live x source
CREATE TABLE int_person_time AS
SELECT * FROM work.person_sums;
