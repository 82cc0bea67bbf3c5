-- +goose Up
-- A photo may be measured together with a second one of the same vine, taken
-- from a step aside. The second is a photo of the record like any other, but it
-- is measured for the first alone: it has no ask of its own.
CREATE TABLE second_stances (
    ask_id    INTEGER PRIMARY KEY REFERENCES asks (id), -- of the first photo
    second_id INTEGER NOT NULL REFERENCES photos (id)
);
CREATE INDEX second_stances_second ON second_stances (second_id);
-- +goose StatementBegin
CREATE TRIGGER second_stances_kept_u BEFORE UPDATE ON second_stances BEGIN SELECT RAISE(ABORT, 'what was measured together is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER second_stances_kept_d BEFORE DELETE ON second_stances BEGIN SELECT RAISE(ABORT, 'what was measured together is never deleted'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE second_stances;
