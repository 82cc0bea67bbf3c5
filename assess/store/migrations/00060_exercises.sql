-- +goose Up

-- A trainer's group, and who is in it now.
CREATE TABLE training_groups (
    id         INTEGER PRIMARY KEY,
    estate_id  INTEGER NOT NULL REFERENCES estates (id),
    trainer_id INTEGER NOT NULL REFERENCES accounts (id),
    name       TEXT    NOT NULL CHECK (name <> ''),
    made_at    TEXT    NOT NULL,
    UNIQUE (estate_id, trainer_id, name)
);
CREATE INDEX training_groups_trainer ON training_groups (trainer_id);
CREATE TABLE training_group_members (
    group_id   INTEGER NOT NULL REFERENCES training_groups (id),
    account_id INTEGER NOT NULL REFERENCES accounts (id),
    since      TEXT    NOT NULL,
    PRIMARY KEY (group_id, account_id)
);

-- An exercise never changes: what was shown, to whom, and how it was judged is
-- part of the record.
CREATE TABLE exercises (
    id       INTEGER PRIMARY KEY,
    group_id INTEGER NOT NULL REFERENCES training_groups (id),
    name     TEXT    NOT NULL CHECK (name <> ''),
    mode     TEXT    NOT NULL CHECK (mode IN ('photo', 'measurements', 'findings')),
    judging  TEXT    NOT NULL CHECK (judging IN ('blind', 'review')),
    made_by  TEXT    NOT NULL CHECK (made_by <> ''),
    made_at  TEXT    NOT NULL
);
CREATE INDEX exercises_group ON exercises (group_id);
CREATE TABLE exercise_vines (
    id             INTEGER PRIMARY KEY,
    exercise_id    INTEGER NOT NULL REFERENCES exercises (id),
    seq            INTEGER NOT NULL CHECK (seq > 0),
    vine_id        INTEGER NOT NULL REFERENCES vines (id),
    photo_id       INTEGER NOT NULL REFERENCES photos (id),
    measurement_id INTEGER NOT NULL REFERENCES measurements (id),
    seen           TEXT    NOT NULL, -- JSON of exercise.Seen: the vine as it was then
    suggested      TEXT    NOT NULL, -- JSON of assess.Choice: what the program suggested then
    UNIQUE (exercise_id, seq),
    UNIQUE (exercise_id, vine_id)
);
CREATE INDEX exercise_vines_photo ON exercise_vines (photo_id);
CREATE TABLE exercise_participants (
    id          INTEGER PRIMARY KEY,
    exercise_id INTEGER NOT NULL REFERENCES exercises (id),
    account_id  INTEGER NOT NULL REFERENCES accounts (id),
    UNIQUE (exercise_id, account_id)
);
CREATE INDEX exercise_participants_account ON exercise_participants (account_id);
-- From then on participants see what became of the choices that they sealed.
CREATE TABLE exercise_openings (
    id          INTEGER PRIMARY KEY,
    exercise_id INTEGER NOT NULL UNIQUE REFERENCES exercises (id),
    who         TEXT    NOT NULL CHECK (who <> ''),
    opened_at   TEXT    NOT NULL
);

CREATE TABLE sealed_choices (
    id               INTEGER PRIMARY KEY,
    exercise_vine_id INTEGER NOT NULL REFERENCES exercise_vines (id),
    account_id       INTEGER NOT NULL REFERENCES accounts (id),
    about_id         INTEGER REFERENCES accounts (id), -- whose choice a trainer went through; NULL for one's own
    attempt          INTEGER NOT NULL CHECK (attempt > 0),
    passed           INTEGER NOT NULL CHECK (passed IN (0, 1)), -- chose nothing, and sees the vine again
    blind            INTEGER NOT NULL CHECK (blind IN (0, 1)),  -- made before anything of others could be seen
    shown            TEXT    NOT NULL, -- JSON of exercise.Shown
    payload          TEXT    NOT NULL, -- JSON of exercise.Choice
    who              TEXT    NOT NULL CHECK (who <> ''),
    sealed_at        TEXT    NOT NULL
);
CREATE UNIQUE INDEX sealed_choices_attempt ON sealed_choices (exercise_vine_id, account_id, coalesce(about_id, 0), attempt);
CREATE INDEX sealed_choices_account ON sealed_choices (account_id);
CREATE TABLE choice_withdrawals (
    id           INTEGER PRIMARY KEY,
    choice_id    INTEGER NOT NULL UNIQUE REFERENCES sealed_choices (id),
    why          TEXT    NOT NULL,
    who          TEXT    NOT NULL CHECK (who <> ''),
    withdrawn_at TEXT    NOT NULL
);
-- A word or an arrow that a trainer left on a choice.
CREATE TABLE choice_remarks (
    id         INTEGER PRIMARY KEY,
    choice_id  INTEGER NOT NULL REFERENCES sealed_choices (id),
    payload    TEXT    NOT NULL, -- JSON of exercise.Remark; 'null' for one that takes another back
    takes_back INTEGER REFERENCES choice_remarks (id),
    who        TEXT    NOT NULL CHECK (who <> ''),
    said_at    TEXT    NOT NULL
);
CREATE INDEX choice_remarks_choice ON choice_remarks (choice_id);
-- What was really done at the vine, with a photo taken after pruning. The
-- latest counts.
CREATE TABLE choice_outcomes (
    id        INTEGER PRIMARY KEY,
    choice_id INTEGER NOT NULL REFERENCES sealed_choices (id),
    photo_id  INTEGER NOT NULL REFERENCES photos (id),
    payload   TEXT    NOT NULL, -- JSON of exercise.Done
    who       TEXT    NOT NULL CHECK (who <> ''),
    said_at   TEXT    NOT NULL
);
CREATE INDEX choice_outcomes_choice ON choice_outcomes (choice_id);

-- +goose StatementBegin
CREATE TRIGGER training_groups_kept_u BEFORE UPDATE OF estate_id, trainer_id ON training_groups BEGIN SELECT RAISE(ABORT, 'a group stays with its trainer'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER training_groups_kept_d BEFORE DELETE ON training_groups BEGIN SELECT RAISE(ABORT, 'a group is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercises_kept_u BEFORE UPDATE ON exercises BEGIN SELECT RAISE(ABORT, 'an exercise is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercises_kept_d BEFORE DELETE ON exercises BEGIN SELECT RAISE(ABORT, 'an exercise is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercise_vines_kept_u BEFORE UPDATE ON exercise_vines BEGIN SELECT RAISE(ABORT, 'what an exercise shows is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercise_vines_kept_d BEFORE DELETE ON exercise_vines BEGIN SELECT RAISE(ABORT, 'what an exercise shows is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercise_participants_kept_u BEFORE UPDATE ON exercise_participants BEGIN SELECT RAISE(ABORT, 'who takes part is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercise_participants_kept_d BEFORE DELETE ON exercise_participants BEGIN SELECT RAISE(ABORT, 'who takes part is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercise_openings_kept_u BEFORE UPDATE ON exercise_openings BEGIN SELECT RAISE(ABORT, 'when results were opened is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER exercise_openings_kept_d BEFORE DELETE ON exercise_openings BEGIN SELECT RAISE(ABORT, 'when results were opened is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER sealed_choices_kept_u BEFORE UPDATE ON sealed_choices BEGIN SELECT RAISE(ABORT, 'a sealed choice is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER sealed_choices_kept_d BEFORE DELETE ON sealed_choices BEGIN SELECT RAISE(ABORT, 'a sealed choice is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choice_withdrawals_kept_u BEFORE UPDATE ON choice_withdrawals BEGIN SELECT RAISE(ABORT, 'a withdrawal is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choice_withdrawals_kept_d BEFORE DELETE ON choice_withdrawals BEGIN SELECT RAISE(ABORT, 'a withdrawal is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choice_remarks_kept_u BEFORE UPDATE ON choice_remarks BEGIN SELECT RAISE(ABORT, 'a remark is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choice_remarks_kept_d BEFORE DELETE ON choice_remarks BEGIN SELECT RAISE(ABORT, 'a remark is never deleted'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choice_outcomes_kept_u BEFORE UPDATE ON choice_outcomes BEGIN SELECT RAISE(ABORT, 'what was done is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER choice_outcomes_kept_d BEFORE DELETE ON choice_outcomes BEGIN SELECT RAISE(ABORT, 'what was done is never deleted'); END;
-- +goose StatementEnd
-- An attempt is only made when the one before was withdrawn.
-- +goose StatementBegin
CREATE TRIGGER sealed_choices_one_stands BEFORE INSERT ON sealed_choices
WHEN EXISTS (SELECT 1 FROM sealed_choices c WHERE c.exercise_vine_id = new.exercise_vine_id AND c.account_id = new.account_id
    AND coalesce(c.about_id, 0) = coalesce(new.about_id, 0) AND NOT EXISTS (SELECT 1 FROM choice_withdrawals w WHERE w.choice_id = c.id))
BEGIN SELECT RAISE(ABORT, 'a choice stands already'); END;
-- +goose StatementEnd

-- +goose Down
DROP TABLE choice_outcomes;
DROP TABLE choice_remarks;
DROP TABLE choice_withdrawals;
DROP TABLE sealed_choices;
DROP TABLE exercise_openings;
DROP TABLE exercise_participants;
DROP TABLE exercise_vines;
DROP TABLE exercises;
DROP TABLE training_group_members;
DROP TABLE training_groups;
