-- +goose Up
-- Deleting is a mark with a time, and so is taking it back: the latest counts.
-- The bytes go with the purge command alone.
CREATE TABLE deletions (
    id       INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photos (id),
    deleted  INTEGER NOT NULL CHECK (deleted IN (0, 1)),
    who      TEXT    NOT NULL CHECK (who <> ''),
    at       TEXT    NOT NULL
);
CREATE INDEX deletions_photo ON deletions (photo_id, id);
CREATE VIEW deleted_photos AS
SELECT d.photo_id, d.who, d.at FROM deletions d
WHERE d.deleted = 1 AND d.id = (SELECT max(id) FROM deletions WHERE photo_id = d.photo_id);

-- +goose Down
DROP VIEW deleted_photos;
DROP TABLE deletions;
