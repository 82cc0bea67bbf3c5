-- +goose Up
-- A photo may be measured together with a second one of the same vine, taken
-- from another stance. What was made of the pair is a result of its own, found
-- by both contents; '' stands for no second photo.
ALTER TABLE photos ADD COLUMN second TEXT NOT NULL DEFAULT '';      -- path of the photo it is measured with
ALTER TABLE photos ADD COLUMN with_sha256 TEXT NOT NULL DEFAULT ''; -- that photo's content

CREATE TABLE paired (
    sha256      TEXT NOT NULL,
    with_sha256 TEXT NOT NULL, -- of the second photo; '' for none
    program     TEXT NOT NULL, -- the program's own hash, or its version
    outcome     TEXT NOT NULL, -- measured, refused or failed
    reason      TEXT NOT NULL DEFAULT '', -- a failure in words
    measurement BLOB,          -- JSON of assess.Measurement without timings, gzip; NULL for a failure
    timing      TEXT NOT NULL DEFAULT '{}', -- JSON, ms by stage
    ended_at    TEXT NOT NULL,
    canes       INTEGER,       -- how many were found; NULL where an older version measured
    depth       INTEGER NOT NULL DEFAULT 0, -- 1 when the second photo showed depth
    PRIMARY KEY (sha256, with_sha256, program)
) WITHOUT ROWID;
INSERT INTO paired (sha256, with_sha256, program, outcome, reason, measurement, timing, ended_at)
    SELECT sha256, '', program, outcome, reason, measurement, timing, ended_at FROM results;
DROP TABLE results;
ALTER TABLE paired RENAME TO results;

-- What was said of a cane was said of what the pair or the one photo gave.
ALTER TABLE checks ADD COLUMN with_sha256 TEXT NOT NULL DEFAULT '';
DROP INDEX checks_cane;
CREATE INDEX checks_cane ON checks (sha256, with_sha256, program, cane);
