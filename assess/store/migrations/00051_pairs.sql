-- +goose Up

-- What the program had said of each cane beside what a person made of it,
-- counted as the other counts are (see 00011 and counts.go): made anew from the
-- record whenever a photo changes.
CREATE TABLE pair_facts (
    photo_id INTEGER NOT NULL REFERENCES photos (id),
    cane     INTEGER NOT NULL,
    block_id INTEGER NOT NULL,
    winter   TEXT    NOT NULL,
    seen     TEXT    NOT NULL, -- the program's finding; '' for a missed cane
    said     TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    stood    TEXT    NOT NULL, -- the finding that stands; '' for what is no one-year cane
    missed   INTEGER NOT NULL,
    nodes    TEXT    NOT NULL, -- '', 'more', 'fewer' or 'moved'
    nodes_by INTEGER NOT NULL, -- how many came or went
    hand     TEXT    NOT NULL, -- '', 'held', 'thicker' or 'thinner'
    PRIMARY KEY (photo_id, cane)
) WITHOUT ROWID;

CREATE TABLE pair_counts (
    block_id INTEGER NOT NULL,
    winter   TEXT    NOT NULL,
    seen     TEXT    NOT NULL,
    said     TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    stood    TEXT    NOT NULL,
    missed   INTEGER NOT NULL,
    nodes    TEXT    NOT NULL,
    hand     TEXT    NOT NULL,
    n        INTEGER NOT NULL,
    nodes_by INTEGER NOT NULL,
    PRIMARY KEY (block_id, winter, seen, said, kind, stood, missed, nodes, hand)
) WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER pair_facts_i AFTER INSERT ON pair_facts BEGIN
    INSERT INTO pair_counts VALUES (NEW.block_id, NEW.winter, NEW.seen, NEW.said, NEW.kind, NEW.stood, NEW.missed, NEW.nodes, NEW.hand, 1, NEW.nodes_by)
    ON CONFLICT DO UPDATE SET n = n + 1, nodes_by = nodes_by + excluded.nodes_by;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER pair_facts_d AFTER DELETE ON pair_facts BEGIN
    UPDATE pair_counts SET n = n - 1, nodes_by = nodes_by - OLD.nodes_by
    WHERE block_id = OLD.block_id AND winter = OLD.winter AND seen = OLD.seen AND said = OLD.said AND kind = OLD.kind
      AND stood = OLD.stood AND missed = OLD.missed AND nodes = OLD.nodes AND hand = OLD.hand;
END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE pair_counts;
DROP TABLE pair_facts;
