-- +goose Up
-- One row for each photo that was found in the job's folder.
CREATE TABLE photos (
    path     TEXT    PRIMARY KEY, -- below the folder, with forward slashes
    bytes    INTEGER NOT NULL,
    modified INTEGER NOT NULL,            -- of the file, ns since 1970: with bytes it tells a changed file
    sha256   TEXT    NOT NULL DEFAULT '', -- '' until the file was read
    taken_at TEXT    NOT NULL DEFAULT '', -- what the camera wrote, local time without zone; '' when it did not
    unread   TEXT    NOT NULL DEFAULT '', -- why the file couldn't be read
    gone     INTEGER NOT NULL DEFAULT 0   -- 1 when the folder no longer has it
) WITHOUT ROWID;

-- What a program made of the bytes of a photo: measured once for each content.
CREATE TABLE results (
    sha256      TEXT NOT NULL,
    program     TEXT NOT NULL, -- the program's own hash, or its version
    outcome     TEXT NOT NULL, -- measured, refused or failed
    reason      TEXT NOT NULL DEFAULT '', -- a failure in words
    measurement BLOB,          -- JSON of assess.Measurement without timings, gzip; NULL for a failure
    timing      TEXT NOT NULL DEFAULT '{}', -- JSON, ms by stage
    ended_at    TEXT NOT NULL,
    PRIMARY KEY (sha256, program)
) WITHOUT ROWID;

-- Photos whose measuring was begun: what is still here at a start was cut off.
CREATE TABLE begun (
    sha256 TEXT    PRIMARY KEY,
    times  INTEGER NOT NULL
) WITHOUT ROWID;

-- Where a photo belongs, when a person said so.
CREATE TABLE placed (
    path   TEXT    PRIMARY KEY,
    block  TEXT    NOT NULL,
    row    INTEGER NOT NULL,
    vine   INTEGER NOT NULL,
    stance TEXT    NOT NULL DEFAULT '',
    who    TEXT    NOT NULL,
    at     TEXT    NOT NULL
) WITHOUT ROWID;

-- What a person said of a cane of the sample that is checked by hand; the
-- latest row of a cane counts.
CREATE TABLE checks (
    id     INTEGER PRIMARY KEY,
    sha256  TEXT    NOT NULL,
    program TEXT    NOT NULL, -- whose numbering of the canes it is
    cane    INTEGER NOT NULL,
    said   TEXT    NOT NULL CHECK (said IN ('agree', 'correct', 'reject')),
    note   TEXT    NOT NULL DEFAULT '',
    who    TEXT    NOT NULL,
    at     TEXT    NOT NULL
);
CREATE INDEX checks_cane ON checks (sha256, program, cane);
