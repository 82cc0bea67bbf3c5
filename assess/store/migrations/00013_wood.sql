-- +goose Up
-- What a grower knows of the density of fresh dormant cane, g/cm3, and from
-- where; 0 and '' while nobody said.
ALTER TABLE blocks ADD COLUMN wood_low REAL NOT NULL DEFAULT 0;
ALTER TABLE blocks ADD COLUMN wood_high REAL NOT NULL DEFAULT 0;
ALTER TABLE blocks ADD COLUMN wood_source TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE blocks DROP COLUMN wood_low;
ALTER TABLE blocks DROP COLUMN wood_high;
ALTER TABLE blocks DROP COLUMN wood_source;
