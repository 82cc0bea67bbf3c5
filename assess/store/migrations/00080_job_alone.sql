-- +goose Up
-- 1 where a job measures every photo by itself, also where two of them show one
-- vine from two places: for a study of repeatability.
ALTER TABLE jobs ADD COLUMN alone INTEGER NOT NULL DEFAULT 0;

-- +goose Down
ALTER TABLE jobs DROP COLUMN alone;
