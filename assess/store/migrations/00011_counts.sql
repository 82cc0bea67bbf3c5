-- +goose Up

-- What follows from the record, kept so that pages needn't read all of it. It is
-- made anew from the record whenever a vine changes, and as a whole when counts
-- has an older version than the program (see counts.go). Nothing here is said
-- by anybody; all of it may be deleted and made again.
CREATE TABLE counts_made (version INTEGER NOT NULL);

CREATE TABLE vine_winters (
    vine_id  INTEGER NOT NULL REFERENCES vines (id),
    winter   TEXT    NOT NULL,
    block_id INTEGER NOT NULL,
    row      INTEGER NOT NULL,
    number   INTEGER NOT NULL,
    latest   INTEGER NOT NULL, -- 1 for the vine's latest winter
    photos   INTEGER NOT NULL,
    waiting  INTEGER NOT NULL, -- photos with a cane that nobody ruled on
    ruled    INTEGER NOT NULL, -- photos on which a person ruled
    chosen   INTEGER NOT NULL, -- 1 when a choice was confirmed
    PRIMARY KEY (vine_id, winter)
) WITHOUT ROWID;
CREATE INDEX vine_winters_latest ON vine_winters (block_id, row, number) WHERE latest = 1;

CREATE TABLE photo_waits ( -- photos with a cane that nobody ruled on
    photo_id    INTEGER PRIMARY KEY REFERENCES photos (id),
    received_at TEXT NOT NULL
);
CREATE INDEX photo_waits_received ON photo_waits (received_at, photo_id);

CREATE TABLE row_counts ( -- by each vine's latest winter
    block_id INTEGER NOT NULL,
    row      INTEGER NOT NULL,
    vines    INTEGER NOT NULL,
    waits    INTEGER NOT NULL,
    decided  INTEGER NOT NULL,
    PRIMARY KEY (block_id, row)
) WITHOUT ROWID;

CREATE TABLE winter_counts (
    block_id INTEGER NOT NULL,
    winter   TEXT    NOT NULL,
    vines    INTEGER NOT NULL,
    waits    INTEGER NOT NULL,
    decided  INTEGER NOT NULL,
    PRIMARY KEY (block_id, winter)
) WITHOUT ROWID;

CREATE TABLE cane_facts ( -- the canes of the measurement that counts for each photo
    block_id  INTEGER NOT NULL,
    winter    TEXT    NOT NULL,
    photo_id  INTEGER NOT NULL REFERENCES photos (id),
    cane      INTEGER NOT NULL,
    vine_id   INTEGER NOT NULL,
    confirmed INTEGER NOT NULL, -- 1 when a person confirmed it as a one-year cane
    finding   TEXT    NOT NULL,
    d REAL, d_low REAL, d_high REAL, -- diameter, mm; NULL when not measured
    l REAL, l_low REAL, l_high REAL, -- internode length, mm
    PRIMARY KEY (block_id, winter, photo_id, cane)
) WITHOUT ROWID;
CREATE INDEX cane_facts_photo ON cane_facts (photo_id);

CREATE TABLE cane_bins ( -- confirmed one-year canes by size
    block_id INTEGER NOT NULL,
    winter   TEXT    NOT NULL,
    quantity TEXT    NOT NULL, -- 'd' in bins of 0.5 mm, 'l' in bins of 5 mm
    bin      INTEGER NOT NULL,
    n        INTEGER NOT NULL,
    PRIMARY KEY (block_id, winter, quantity, bin)
) WITHOUT ROWID;

CREATE TABLE finding_counts ( -- confirmed one-year canes by finding
    block_id INTEGER NOT NULL,
    winter   TEXT    NOT NULL,
    finding  TEXT    NOT NULL,
    n        INTEGER NOT NULL,
    PRIMARY KEY (block_id, winter, finding)
) WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER vine_winters_i AFTER INSERT ON vine_winters BEGIN
    INSERT INTO winter_counts VALUES (NEW.block_id, NEW.winter, 1, NEW.waiting > 0, NEW.chosen)
    ON CONFLICT DO UPDATE SET vines = vines + 1, waits = waits + excluded.waits, decided = decided + excluded.decided;
    INSERT INTO row_counts SELECT NEW.block_id, NEW.row, 1, NEW.waiting > 0, NEW.chosen WHERE NEW.latest
    ON CONFLICT DO UPDATE SET vines = vines + 1, waits = waits + excluded.waits, decided = decided + excluded.decided;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER vine_winters_d AFTER DELETE ON vine_winters BEGIN
    UPDATE winter_counts SET vines = vines - 1, waits = waits - (OLD.waiting > 0), decided = decided - OLD.chosen WHERE block_id = OLD.block_id AND winter = OLD.winter;
    UPDATE row_counts SET vines = vines - 1, waits = waits - (OLD.waiting > 0), decided = decided - OLD.chosen WHERE OLD.latest AND block_id = OLD.block_id AND row = OLD.row;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER cane_facts_i AFTER INSERT ON cane_facts WHEN NEW.confirmed BEGIN
    INSERT INTO finding_counts VALUES (NEW.block_id, NEW.winter, NEW.finding, 1) ON CONFLICT DO UPDATE SET n = n + 1;
    INSERT INTO cane_bins SELECT NEW.block_id, NEW.winter, 'd', CAST(NEW.d / 0.5 AS INTEGER), 1 WHERE NEW.d IS NOT NULL ON CONFLICT DO UPDATE SET n = n + 1;
    INSERT INTO cane_bins SELECT NEW.block_id, NEW.winter, 'l', CAST(NEW.l / 5.0 AS INTEGER), 1 WHERE NEW.l IS NOT NULL ON CONFLICT DO UPDATE SET n = n + 1;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER cane_facts_d AFTER DELETE ON cane_facts WHEN OLD.confirmed BEGIN
    UPDATE finding_counts SET n = n - 1 WHERE block_id = OLD.block_id AND winter = OLD.winter AND finding = OLD.finding;
    UPDATE cane_bins SET n = n - 1 WHERE block_id = OLD.block_id AND winter = OLD.winter AND quantity = 'd' AND bin = CAST(OLD.d / 0.5 AS INTEGER);
    UPDATE cane_bins SET n = n - 1 WHERE block_id = OLD.block_id AND winter = OLD.winter AND quantity = 'l' AND bin = CAST(OLD.l / 5.0 AS INTEGER);
END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE finding_counts;
DROP TABLE cane_bins;
DROP TABLE cane_facts;
DROP TABLE winter_counts;
DROP TABLE row_counts;
DROP TABLE photo_waits;
DROP TABLE vine_winters;
DROP TABLE counts_made;
