-- +goose Up
-- Why a photo failed, as JSON of assess.Phrase beside the English words, so that
-- it can be told in any language; '' where an older version kept the words alone.
ALTER TABLE results ADD COLUMN phrase TEXT NOT NULL DEFAULT '';
ALTER TABLE photos ADD COLUMN unread_phrase TEXT NOT NULL DEFAULT '';
