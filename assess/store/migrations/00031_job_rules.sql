-- +goose Up
-- The rule set by which a job's canes are judged, name@version; '' for the
-- program's own.
ALTER TABLE jobs ADD COLUMN rule_set TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE jobs DROP COLUMN rule_set;
