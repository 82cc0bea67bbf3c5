-- +goose Up
-- Jobs that measure many photos. The photos, what became of each and the tables
-- lie in a folder of the job's own, jobs/ID, with a database of its own.
CREATE TABLE jobs (
    id         INTEGER PRIMARY KEY,
    estate_id  INTEGER NOT NULL REFERENCES estates (id),
    name       TEXT    NOT NULL,
    pattern    TEXT    NOT NULL, -- how its photos are named
    checked    REAL    NOT NULL DEFAULT 0, -- wanted precision of the error rate, as a share; 0 draws no sample
    paused     INTEGER NOT NULL DEFAULT 0 CHECK (paused IN (0, 1)),
    created_by TEXT    NOT NULL,
    created_at TEXT    NOT NULL
);
CREATE INDEX jobs_estate ON jobs (estate_id);

-- +goose Down
DROP TABLE jobs;
