-- +goose Up
CREATE TABLE blocks (
    id            INTEGER PRIMARY KEY,
    name          TEXT    NOT NULL UNIQUE COLLATE NOCASE,
    rows          INTEGER NOT NULL CHECK (rows BETWEEN 1 AND 2000),
    vines_per_row INTEGER NOT NULL CHECK (vines_per_row BETWEEN 1 AND 5000),
    southern      INTEGER NOT NULL DEFAULT 0 CHECK (southern IN (0, 1)),
    training_form TEXT    NOT NULL,
    rule_set      TEXT    NOT NULL, -- name@version
    rule_set_text TEXT    NOT NULL, -- the whole rule set, so that a finding can be explained years later
    created_by    TEXT    NOT NULL,
    created_at    TEXT    NOT NULL
);

CREATE TABLE vines (
    id       INTEGER PRIMARY KEY,
    block_id INTEGER NOT NULL REFERENCES blocks (id),
    row      INTEGER NOT NULL CHECK (row > 0),
    number   INTEGER NOT NULL CHECK (number > 0),
    UNIQUE (block_id, row, number)
);

CREATE TABLE winters (
    name TEXT PRIMARY KEY -- "2026/27", or "2026" south of the equator
);

CREATE TABLE photos (
    id           INTEGER PRIMARY KEY,
    sha256       TEXT    NOT NULL CHECK (length(sha256) = 64),
    vine_id      INTEGER NOT NULL REFERENCES vines (id),
    winter       TEXT    NOT NULL REFERENCES winters (name),
    name         TEXT    NOT NULL,
    content_type TEXT    NOT NULL,
    bytes        INTEGER NOT NULL CHECK (bytes > 0),
    taken_at     TEXT, -- when the camera said; NULL when it did not
    received_at  TEXT    NOT NULL,
    received_by  TEXT    NOT NULL,
    UNIQUE (vine_id, winter, sha256)
);

CREATE TABLE asks (
    id       INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photos (id),
    ask      TEXT    NOT NULL, -- JSON of assess.Ask
    asked_by TEXT    NOT NULL,
    asked_at TEXT    NOT NULL
);
CREATE INDEX asks_photo ON asks (photo_id);

CREATE TABLE failures (
    ask_id    INTEGER PRIMARY KEY REFERENCES asks (id),
    code      TEXT NOT NULL,
    message   TEXT NOT NULL,
    failed_at TEXT NOT NULL
);

CREATE TABLE measurements (
    id          INTEGER PRIMARY KEY,
    ask_id      INTEGER NOT NULL UNIQUE REFERENCES asks (id),
    photo_id    INTEGER NOT NULL REFERENCES photos (id),
    program     TEXT    NOT NULL,
    rule_set    TEXT    NOT NULL,
    outcome     TEXT    NOT NULL,
    canes       INTEGER NOT NULL,
    json        TEXT    NOT NULL,
    measured_at TEXT    NOT NULL
);
CREATE INDEX measurements_photo ON measurements (photo_id);

CREATE TABLE rulings (
    id             INTEGER PRIMARY KEY,
    measurement_id INTEGER NOT NULL REFERENCES measurements (id),
    seq            INTEGER NOT NULL CHECK (seq > 0),
    cane           INTEGER NOT NULL, -- the cane's id in the measurement, or a new one for a cane that was missed
    kind           TEXT    NOT NULL,
    payload        TEXT    NOT NULL, -- JSON of the ruling
    said           TEXT    NOT NULL, -- JSON of what the program had said of this cane; 'null' for a missed one
    who            TEXT    NOT NULL CHECK (who <> ''),
    ruled_at       TEXT    NOT NULL,
    UNIQUE (measurement_id, seq)
);

-- Canes that a person pointed out and the program then traced. A ruling adds
-- one by its id, so that what is kept is what the program saw.
CREATE TABLE traces (
    id             INTEGER PRIMARY KEY,
    measurement_id INTEGER NOT NULL REFERENCES measurements (id),
    program        TEXT    NOT NULL,
    json           TEXT    NOT NULL,
    asked_by       TEXT    NOT NULL,
    traced_at      TEXT    NOT NULL
);

CREATE TABLE choices (
    id             INTEGER PRIMARY KEY,
    vine_id        INTEGER NOT NULL REFERENCES vines (id),
    winter         TEXT    NOT NULL REFERENCES winters (name),
    seq            INTEGER NOT NULL CHECK (seq > 0),
    measurement_id INTEGER NOT NULL REFERENCES measurements (id),
    payload        TEXT    NOT NULL, -- JSON of the choice that was confirmed
    said           TEXT    NOT NULL, -- JSON of the choice that was suggested
    who            TEXT    NOT NULL CHECK (who <> ''),
    chosen_at      TEXT    NOT NULL,
    UNIQUE (vine_id, winter, seq)
);

-- One row for each request that may be sent twice, because the answer to the
-- first sending was lost on the way.
CREATE TABLE idempotency_keys (
    key     TEXT PRIMARY KEY,
    digest  TEXT    NOT NULL, -- of what was sent: another content under the same key is refused
    result  INTEGER NOT NULL, -- id of the row that the first sending made
    used_at TEXT    NOT NULL
);

-- +goose StatementBegin
CREATE TRIGGER measurements_kept_u BEFORE UPDATE ON measurements BEGIN SELECT RAISE(ABORT, 'a measurement is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER measurements_kept_d BEFORE DELETE ON measurements BEGIN SELECT RAISE(ABORT, 'a measurement is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER traces_kept_u BEFORE UPDATE ON traces BEGIN SELECT RAISE(ABORT, 'a trace is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER traces_kept_d BEFORE DELETE ON traces BEGIN SELECT RAISE(ABORT, 'a trace is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER rulings_kept_u BEFORE UPDATE ON rulings BEGIN SELECT RAISE(ABORT, 'a ruling is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER rulings_kept_d BEFORE DELETE ON rulings BEGIN SELECT RAISE(ABORT, 'a ruling is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choices_kept_u BEFORE UPDATE ON choices BEGIN SELECT RAISE(ABORT, 'a choice is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choices_kept_d BEFORE DELETE ON choices BEGIN SELECT RAISE(ABORT, 'a choice is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER photos_kept_u BEFORE UPDATE OF sha256, vine_id, winter ON photos BEGIN SELECT RAISE(ABORT, 'a photo is never changed'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE idempotency_keys;
DROP TABLE choices;
DROP TABLE traces;
DROP TABLE rulings;
DROP TABLE measurements;
DROP TABLE failures;
DROP TABLE asks;
DROP TABLE photos;
DROP TABLE winters;
DROP TABLE vines;
DROP TABLE blocks;
