-- +goose Up
-- What it takes to tell a failure's message in other languages, as JSON; ''
-- where the message alone was kept.
ALTER TABLE failures ADD COLUMN phrase TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE failures DROP COLUMN phrase;
