-- +goose Up
CREATE TABLE estates (
    id         INTEGER PRIMARY KEY,
    name       TEXT NOT NULL UNIQUE COLLATE NOCASE,
    created_at TEXT NOT NULL
);
-- What was recorded before there were accounts belongs to the first estate.
INSERT INTO estates (id, name, created_at) VALUES (1, 'Estate', strftime('%Y-%m-%dT%H:%M:%SZ', 'now'));

-- A name is never given to a second person: the record says by it who ruled.
CREATE TABLE accounts (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (name <> ''),
    password    TEXT NOT NULL, -- argon2id in PHC form; '' for an account that can't sign in by password
    created_at  TEXT NOT NULL,
    disabled_at TEXT           -- NULL while it may sign in
);

CREATE TABLE members (
    estate_id  INTEGER NOT NULL REFERENCES estates (id),
    account_id INTEGER NOT NULL REFERENCES accounts (id),
    role       TEXT    NOT NULL CHECK (role IN ('pruner', 'trainee', 'trainer', 'researcher', 'manager')),
    since      TEXT    NOT NULL,
    PRIMARY KEY (estate_id, account_id)
);

-- One-time links, kept as the SHA-256 of their secret: to join an estate in a
-- role, or, with account_id, for that account to choose a new password.
CREATE TABLE invitations (
    id         INTEGER PRIMARY KEY,
    hash       TEXT    NOT NULL UNIQUE CHECK (length(hash) = 64),
    estate_id  INTEGER NOT NULL REFERENCES estates (id),
    role       TEXT    NOT NULL,
    account_id INTEGER REFERENCES accounts (id),
    made_by    TEXT    NOT NULL,
    made_at    TEXT    NOT NULL,
    expires_at TEXT    NOT NULL,
    closed_at  TEXT    -- used or withdrawn
);

CREATE TABLE sessions (
    id         INTEGER PRIMARY KEY,
    hash       TEXT    NOT NULL UNIQUE CHECK (length(hash) = 64),
    account_id INTEGER NOT NULL REFERENCES accounts (id),
    estate_id  INTEGER NOT NULL REFERENCES estates (id), -- whose pages it looks at
    began_at   TEXT    NOT NULL,
    seen_at    TEXT    NOT NULL,
    expires_at TEXT    NOT NULL
);
CREATE INDEX sessions_account ON sessions (account_id);

CREATE TABLE api_tokens (
    id         INTEGER PRIMARY KEY,
    hash       TEXT    NOT NULL UNIQUE CHECK (length(hash) = 64),
    account_id INTEGER NOT NULL REFERENCES accounts (id),
    estate_id  INTEGER NOT NULL REFERENCES estates (id),
    name       TEXT    NOT NULL,
    scope      TEXT    NOT NULL,
    made_at    TEXT    NOT NULL,
    expires_at TEXT    NOT NULL,
    used_at    TEXT,
    revoked_at TEXT
);
CREATE INDEX api_tokens_account ON api_tokens (account_id);

-- Failed sign-ins by account and by address, both as a hash.
CREATE TABLE sign_in_tries (
    subject  TEXT    PRIMARY KEY,
    failures INTEGER NOT NULL,
    last_at  TEXT    NOT NULL
);

-- +goose Down
DROP TABLE sign_in_tries;
DROP TABLE api_tokens;
DROP TABLE sessions;
DROP TABLE invitations;
DROP TABLE members;
DROP TABLE accounts;
DROP TABLE estates;
