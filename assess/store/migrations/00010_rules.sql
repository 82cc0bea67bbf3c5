-- +goose Up

-- Every version of every rule set and descriptor table that was ever used:
-- what was judged by one can be explained years later. Each estate has its own.
CREATE TABLE rule_sets (
    estate_id INTEGER NOT NULL DEFAULT 1,
    rule_set  TEXT    NOT NULL, -- name@version
    name      TEXT    NOT NULL,
    version   INTEGER NOT NULL CHECK (version > 0),
    text      TEXT    NOT NULL, -- JSON of assess.RuleSet
    made_by   TEXT    NOT NULL,
    made_at   TEXT    NOT NULL,
    PRIMARY KEY (estate_id, rule_set),
    UNIQUE (estate_id, name, version)
);
INSERT INTO rule_sets (rule_set, name, version, text, made_by, made_at)
SELECT rule_set, CASE WHEN instr(rule_set, '@') > 0 THEN substr(rule_set, 1, instr(rule_set, '@') - 1) ELSE rule_set END,
       max(1, CAST(substr(rule_set, instr(rule_set, '@') + 1) AS INTEGER)), rule_set_text, created_by, min(created_at)
FROM blocks GROUP BY rule_set;

CREATE TABLE descriptor_tables (
    estate_id INTEGER NOT NULL DEFAULT 1,
    id        TEXT    NOT NULL, -- name@version
    name      TEXT    NOT NULL,
    version   INTEGER NOT NULL CHECK (version > 0),
    text      TEXT    NOT NULL, -- JSON of assess.DescriptorTable
    made_by   TEXT    NOT NULL,
    made_at   TEXT    NOT NULL,
    PRIMARY KEY (estate_id, id),
    UNIQUE (estate_id, name, version)
);

ALTER TABLE blocks ADD COLUMN training_form_text TEXT NOT NULL DEFAULT ''; -- JSON of assess.Form
ALTER TABLE blocks ADD COLUMN variety TEXT NOT NULL DEFAULT '' COLLATE NOCASE;
ALTER TABLE blocks ADD COLUMN spacing_m REAL NOT NULL DEFAULT 0; -- of vines along the row; 0 while unknown
ALTER TABLE blocks ADD COLUMN divided INTEGER NOT NULL DEFAULT 0 CHECK (divided IN (0, 1)); -- a divided canopy
ALTER TABLE blocks ADD COLUMN formula TEXT NOT NULL DEFAULT ''; -- of balanced pruning; '' for none

-- By what a block is judged and to what it is pruned, from which winter on. The
-- latest that isn't from a later winter holds.
CREATE TABLE block_rules (
    id                 INTEGER PRIMARY KEY,
    block_id           INTEGER NOT NULL REFERENCES blocks (id),
    seq                INTEGER NOT NULL CHECK (seq > 0),
    winter             TEXT    NOT NULL, -- '' from the beginning
    training_form      TEXT    NOT NULL,
    training_form_text TEXT    NOT NULL,
    rule_set           TEXT    NOT NULL, -- of the block's estate
    who                TEXT    NOT NULL CHECK (who <> ''),
    changed_at         TEXT    NOT NULL,
    UNIQUE (block_id, seq)
);
INSERT INTO block_rules (block_id, seq, winter, training_form, training_form_text, rule_set, who, changed_at)
SELECT id, 1, '', training_form, '', rule_set, CASE WHEN created_by = '' THEN '?' ELSE created_by END, created_at FROM blocks;

-- What people said of a vine in a winter that isn't of one photo: the mass of
-- its prunings, its harvest, what a cane grew from, that it was pruned. Of
-- several of one kind and cane the latest counts.
CREATE TABLE sayings (
    id      INTEGER PRIMARY KEY,
    vine_id INTEGER NOT NULL REFERENCES vines (id),
    winter  TEXT    NOT NULL REFERENCES winters (name),
    kind    TEXT    NOT NULL,
    cane    INTEGER NOT NULL DEFAULT 0,
    payload TEXT    NOT NULL, -- JSON; 'null' takes it back
    who     TEXT    NOT NULL CHECK (who <> ''),
    said_at TEXT    NOT NULL
);
CREATE INDEX sayings_vine ON sayings (vine_id);

-- +goose StatementBegin
CREATE TRIGGER rule_sets_kept_u BEFORE UPDATE ON rule_sets BEGIN SELECT RAISE(ABORT, 'a rule set is never changed: make a new version'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER rule_sets_kept_d BEFORE DELETE ON rule_sets BEGIN SELECT RAISE(ABORT, 'a rule set is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER descriptor_tables_kept_u BEFORE UPDATE ON descriptor_tables BEGIN SELECT RAISE(ABORT, 'a descriptor table is never changed: make a new version'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER descriptor_tables_kept_d BEFORE DELETE ON descriptor_tables BEGIN SELECT RAISE(ABORT, 'a descriptor table is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER block_rules_kept_u BEFORE UPDATE ON block_rules BEGIN SELECT RAISE(ABORT, 'what a block was judged by is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER block_rules_kept_d BEFORE DELETE ON block_rules BEGIN SELECT RAISE(ABORT, 'what a block was judged by is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER sayings_kept_u BEFORE UPDATE ON sayings BEGIN SELECT RAISE(ABORT, 'what was said is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER sayings_kept_d BEFORE DELETE ON sayings BEGIN SELECT RAISE(ABORT, 'what was said is never deleted'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE sayings;
DROP TABLE block_rules;
DROP TABLE descriptor_tables;
DROP TABLE rule_sets;
ALTER TABLE blocks DROP COLUMN training_form_text;
ALTER TABLE blocks DROP COLUMN variety;
ALTER TABLE blocks DROP COLUMN spacing_m;
ALTER TABLE blocks DROP COLUMN divided;
ALTER TABLE blocks DROP COLUMN formula;
